/** Insulation of the empty rack at a night's voltage: the one part of bench-check that is not touch-safe. */
import { connect, moveBus, release, rest } from '../engine/bus.ts'
import { closeAgain } from './bench-check-cutoff.ts'
import { checkInsulation, lessZero } from './bench-check-held.ts'
import { failed } from './bench-check-judge.ts'
import { slewMaxVPerS } from './bench-check-plan.ts'
import type { Round } from './bench-check-round.ts'
import { busNow, isDummy, isEmpty, living, readAll } from './bench-check-round.ts'

const settleMs = 5000

/**
 * After the cutoff was seen to open. Nothing that fails at low voltage is taken higher, and the known
 * resistance stays on its bleeder.
 */
export async function checkAtVoltage(round: Round): Promise<void> {
  const { night, p, checks, zero } = round
  if (p.leakageV === undefined) return
  const what = `insulation at ${p.leakageV} V`
  if (checks.some(failed)) {
    round.unshown.push(`${what}: something is wrong at low voltage already`)
    return
  }
  const empty = living(night).filter(position => isEmpty(position) && !isDummy(night, position))
  await closeAgain(round)
  await connect(night, empty)
  await moveBus(night, p.leakageV, slewMaxVPerS)
  await rest(night, settleMs)
  const taken = await readAll(round)
  const bus = await busNow(night)
  await moveBus(night, p.voltageV, p.leakageV)
  await release(night, empty)
  checkInsulation(round, lessZero(taken, zero), bus.value, what, { atV: p.leakageV })
}
