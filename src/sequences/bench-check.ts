/**
 * The bench looks at itself at low voltage before an unattended night. Empty positions show only their
 * insulation: a relay that leads to nothing carries nothing, closed or open. What sits on a position
 * shows its relay (a known resistor), and its bleeder, formal, watch and bridge relays too (a sound
 * capacitor named in the request).
 */
import { followAll } from '../engine/bleed.ts'
import { defineSequence } from '../engine/sequence.ts'
import { checkBridgeLine, checkBridges } from './bench-check-bridge.ts'
import { checkCutoff, checkHold, takeSupplyDown } from './bench-check-cutoff.ts'
import { checkFormal } from './bench-check-formal.ts'
import { checkHeld, checkInterlock, rise, slewOf } from './bench-check-held.ts'
import { benchCheckParameters, benchCheckPlan } from './bench-check-plan.ts'
import type { BenchCheckParameters } from './bench-check-plan.ts'
import { checkReleased } from './bench-check-released.ts'
import type { Round } from './bench-check-round.ts'
import { living, newRound, readAll, report, restingZero } from './bench-check-round.ts'
import { checkAtVoltage } from './bench-check-voltage.ts'
import { stage } from './climb.ts'
import { cautions } from './plan.ts'

export const benchCheck = defineSequence<BenchCheckParameters>({
  name: 'bench-check',
  summary: 'Cutoff and its hold time, interlock, insulation, a known resistance; '
    + 'relays and bleeders where a test part sits. 30 V at most, save for an empty rack at leakageV. '
    + 'Says what it could not show',
  cautions, parameters: benchCheckParameters, roles: ['supply', 'bus-meter', 'sense-meter', 'positions'],
  energises: true, everyPosition: true, plan: benchCheckPlan,
  run: async (night, p) => {
    const round = newRound(night, p)
    stage(night, 'checking')
    await checkInterlock(round)
    if (await checkBridgeLine(round) && await checkHold(round)) await atVoltage(round)
    else round.unshown.push(needsVoltage)
    await report(round)
  },
})

const needsVoltage = 'everything that needs voltage: the bench stays at zero'

async function atVoltage(round: Round): Promise<void> {
  const { night, p } = round
  round.zero = restingZero(await readAll(round))
  const peaks = await rise(round)
  const held = await checkHeld(round, peaks)
  await checkReleased(round, { held, peaks, slewVPerS: slewOf(night, p.voltageV) })
  await checkFormal(round)
  await checkCutoff(round)
  await checkAtVoltage(round)
  await takeSupplyDown(round)
  await bleed(round)
  await checkBridges(round)
}

/** Whatever the bus was before, it stood at the low voltage when the last part left it. */
async function bleed({ night, p }: Round): Promise<void> {
  await followAll(night, living(night), new Map(living(night).map(position => [position, p.voltageV])))
}
