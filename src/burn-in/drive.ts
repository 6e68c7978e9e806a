/** Does what the programme asks: mains on and off, and a tone at its level at every output. */
import { sleep } from '../base/clock.ts'
import { closeMains, drive, openMains, quiet, settled } from '../powering/mains.ts'
import { countedS, type BurnIn, type Tone } from './burn-in.ts'
import { gainAt, placedHz, ratedV } from './gains.ts'
import type { Due } from './programme.ts'

/** Mains and drive as they are due. A drive waits until the unit has come up. */
export async function follow(b: BurnIn, due: Due): Promise<void> {
  const { power } = b
  if (due.mains === 'off') {
    if (power.state.way !== null) await switchOff(b)
    return
  }
  if (power.state.way === null) await switchOn(b)
  const isUp = power.clock.monotonicMs() - b.closedAtMs! >= 1000 * b.parameters.standS
  if (isUp && !power.state.isSettled) settled(power, b.isWarm)
  // Cycles have their own time to settle in the programme.
  const mayDrive = isUp || b.programme.phases[due.phase!]!.kind === 'cycles'
  await toneIs(b, mayDrive ? due.tone : null)
}

export async function switchOn(b: BurnIn): Promise<void> {
  const { power } = b
  b.inrush.lastA = 0
  await closeMains(power, b.fullWay)
  b.closedAtMs = power.clock.monotonicMs()
  b.switchings++
}

export async function switchOff(b: BurnIn): Promise<void> {
  b.tone = null
  b.outputW = 0
  b.levels.clear()
  await openMains(b.power)
  b.closedAtMs = null
}

/** Of the first closing, and of any that took a tenth more than all before (our choice). */
const moreShare = 1.1

/** By then it is over, and read, ms after closing. */
const inrushToldMs = 10_000

/** What the power meter saw of the last closing; read at its own pace, it sees no peaks. */
export async function tellInrush({ inrush, power }: BurnIn): Promise<void> {
  const { recorder, profile: { supply } } = power
  const { lastA, firstA } = inrush
  if (power.clock.monotonicMs() - power.state.switchedAtMs < inrushToldMs) return
  inrush.lastA = 0
  if (lastA === 0 || firstA !== null && lastA < moreShare * firstA) return
  inrush.firstA ??= lastA
  const ms = supply.kind === 'mains' ? supply.inrushMs : 0
  await recorder.event({
    kind: 'inrush', data: { lastA },
    text: `up to ${lastA.toPrecision(3)} A in the ${ms} ms of inrush, as fast as the mains meter reads`,
  })
}

/** Until a level shows what was set, beside the time of the generator, ms (our choice). */
const followsMs = 50

export async function toneIs(b: BurnIn, tone: Tone | null): Promise<void> {
  const { power } = b
  if (isSame(b.tone, tone)) return
  if (tone === null) {
    await quiet(power)
    b.levels.clear()
    b.tone = null
    b.outputW = 0
    return
  }
  for (const { spec } of power.places.outputs) {
    await drive(power, spec.name, [{
      frequencyHz: placedHz(power, tone.frequencyHz), levelV: levelFor(b, spec.name, tone),
    }])
  }
  b.tone = tone
  b.outputW = power.places.outputs.reduce((sum, { spec }) => sum + tone.powerShare * spec.output.ratedW, 0)
  await sleep(power.clock, power.roles.generator!.settleMs + followsMs, power.signal)
}

const isSame = (a: Tone | null, b: Tone | null): boolean =>
  a === b || a !== null && b !== null && a.frequencyHz === b.frequencyHz && a.powerShare === b.powerShare

/** Volts at the output that the tone asks for, and of the source for them. */
export const dueV = ({ power: { places } }: BurnIn, channel: string, { powerShare }: Tone): number =>
  Math.sqrt(powerShare) * ratedV(places.outputs.find(({ spec }) => spec.name === channel)!.spec)

export const levelFor = (b: BurnIn, channel: string, tone: Tone): number =>
  dueV(b, channel, tone) / gainAt(b.gains.get(channel)!, placedHz(b.power, tone.frequencyHz))

/** Names what is asked, for watches that hold only while the heat of a drive is constant. */
export function driveName(b: BurnIn, due: Due): string {
  const { power: { state } } = b
  if (state.way === null) return 'off'
  if (b.isResting) return 'at rest'
  if (b.tone === null && due.tone !== null) return 'coming up'
  const { kind } = b.programme.phases[due.phase!]!
  // Noise and music heat by fits and starts: no bend of a temperature says anything while they play.
  return kind === 'noise' || kind === 'music' ? `${due.drive} at ${countedS(b)}` : due.drive
}
