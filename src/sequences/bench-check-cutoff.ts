/** The cutoff: it opens when told to, stays closed while refreshed, and drops when nobody refreshes it. */
import { hasCode } from '../base/errors.ts'
import { energise } from '../engine/arm.ts'
import { busMayFall, next, rest } from '../engine/bus.ts'
import type { Night } from '../engine/night.ts'
import type { Cutoff, Supply } from '../schema/roles.ts'
import { judge, shownU, yesNo } from './bench-check-judge.ts'
import type { Round } from './bench-check-round.ts'
import { mean, note } from './bench-check-round.ts'

const busFallMs = 5000
/**
 * The relay's own timer may be off by this share; it is looked at for this much longer (modelling choice).
 */
const holdShare = 0.1
const holdSeeMs = 300
const lookEveryMs = 50
/** Refreshed, it is watched for this many of its hold times. */
const refreshedHolds = 1.25

/** The supply stays on: it must be the contact that takes the bus down. */
export async function checkCutoff(round: Round): Promise<void> {
  const { night, p, silent, unshown } = round
  const { cutoff, supply } = night.roles as { cutoff?: Cutoff; supply: Supply }
  if (!cutoff) { unshown.push('the bench has no cutoff'); return }
  let opened = true
  busMayFall(night)
  try { await cutoff.open() } catch (error) { told(night, error); opened = false }
  const fell = await busFalls(night, 0.5 * p.voltageV)
  const supplyV = await supply.readVoltage()
  await findWelded(round)
  const heldUp = !fell && silent.size > 0
  if (heldUp) unshown.push('the fall of the bus: a part that did not leave it holds it up')
  note(round, { position: null, what: 'cutoff opens', criterion: yesNo(
    opened && (fell || heldUp) && supplyV.value > 0.8 * p.voltageV,
    'contact open and bus down while the supply stays on') })
}

async function busFalls(night: Night, belowV: number): Promise<boolean> {
  const endMs = night.clock.monotonicMs() + busFallMs
  while (night.clock.monotonicMs() < endMs) {
    const { value } = await next(night, night.channels.busVoltage.name, night.clock.monotonicMs())
    if (value < belowV) return true
  }
  return false
}

/** A charged part that is still on the bus feeds its bleeder now; one with an open bleeder feeds nothing. */
async function findWelded({ night, faults, silent }: Round): Promise<void> {
  for (const position of silent) {
    const seen = await mean(night, position, 1)
    if (seen.value < -shownU * seen.u) faults.set(position, 'the relay does not open (welded)')
  }
}

/** Nothing feeds the bus from here on. */
export async function takeSupplyDown({ night }: Round): Promise<void> {
  const supply = night.roles.supply as Supply
  await supply.setOutput(false)
  await supply.setVoltage(0)
  night.state.setV = 0
  night.state.live = false
  busMayFall(night)
}

/**
 * Before any voltage, with the supply off. The keeper alone refreshes the contact, and only while it is
 * armed: so it is watched while the keeper does, and then the keeper is disarmed, and armed again when the
 * contact has dropped. False where the contact does not stay closed: then no voltage can be had.
 */
export async function checkHold(round: Round): Promise<boolean> {
  const { night, unshown } = round
  const { cutoff } = night.roles
  if (!cutoff) return true
  if (cutoff.holdMs === 0) {
    unshown.push('that the cutoff drops when nobody refreshes it: it has no hold-in timer')
    return true
  }
  await takeSupplyDown(round)
  await rest(night, refreshedHolds * cutoff.holdMs)
  const stays = note(round, {
    position: null, what: 'cutoff stays closed while refreshed',
    criterion: yesNo(await cutoff.isClosed(),
      'the keeper refreshes it, and it opened by itself or by the cover'),
  })
  if (!stays) return false
  await seeDrop(round, cutoff)
  await night.guard.arm()
  await energise(night)
  return true
}

/** Once more, after the contact was opened by command: from zero, and through the keeper. */
export async function closeAgain(round: Round): Promise<void> {
  const { guard, roles } = round.night
  await takeSupplyDown(round)
  await guard.disarm()
  await roles.cutoff?.open()
  await guard.arm()
  await energise(round.night)
}

/** Nothing that energises passes the keeper until it is armed again. */
async function seeDrop(round: Round, cutoff: Cutoff): Promise<void> {
  const { night } = round
  const longestMs = cutoff.holdMs * (1 + holdShare) + cutoff.settleMs
  const lookMs = longestMs + holdSeeMs
  await night.guard.disarm()
  const droppedMs = await droppedIn(night, cutoff, lookMs)
  note(round, {
    position: null, what: 'cutoff drops when not refreshed',
    criterion: judge('bench', { value: (droppedMs ?? lookMs) / 1000, u: 0 }, 's', { high: longestMs / 1000 },
      droppedMs === null ? `still closed ${(lookMs / 1000).toFixed(1)} s after the last refresh`
        : `${(cutoff.holdMs / 1000).toFixed(1)} s of its profile and 10 %`),
  })
  if (droppedMs === null) await cutoff.open().catch(error => told(night, error))
}

/** Time until the contact is seen open, ms; null when it is closed still. */
async function droppedIn(night: Night, cutoff: Cutoff, longestMs: number): Promise<number | null> {
  const startedMs = night.clock.monotonicMs()
  while (await cutoff.isClosed()) {
    if (night.clock.monotonicMs() - startedMs >= longestMs) return null
    await rest(night, lookEveryMs)
  }
  return night.clock.monotonicMs() - startedMs
}

/** Goes on where the contact did not do what it was told; everything else is no finding. */
function told(night: Night, error: unknown): void {
  if (night.signal.aborted || !hasCode(error, 'READ_BACK')) throw error
}
