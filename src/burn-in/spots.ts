/** Looks at the distortion under the drive of the programme, now and then. */
import { sleep } from '../base/clock.ts'
import { analyseTone } from '../analysis/audio/tone.ts'
import { countedS, keepPoint, type BurnIn, type Tone } from './burn-in.ts'
import { dueV, toneIs } from './drive.ts'
import { placedHz, spotHz } from './gains.ts'
import { capture, rateFor, type RecordSize } from './hear.ts'
import type { Led } from '../powering/places.ts'
import type { Phase } from './parameters.ts'

const orders = 10
/** Samples for each period, so that the highest order lies below half of the rate. */
const perPeriod = 2.2 * orders
const samplesWanted = 2 ** 15
/** A look that found too much is made again after so long, s: two in a row trip. */
const againS = 60

/** The tone by which the distortion of a phase is looked at; null for one without drive. */
export function spotTone(phase: Phase): Tone | null {
  if (phase.kind === 'idle') return null
  const frequencyHz = 'frequencyHz' in phase ? phase.frequencyHz : spotHz
  return { frequencyHz, powerShare: phase.powerShare }
}

/** Looks when it is time to. Leaves the tone of the look on: what follows sets its own. */
export async function spotIfDue(b: BurnIn): Promise<void> {
  if (b.tone === null || countedS(b) < b.nextSpotS) return
  await spot(b)
}

export async function spot(b: BurnIn): Promise<void> {
  const { power, heard, parameters: { programme, spotEveryS } } = b
  b.nextSpotS = countedS(b) + spotEveryS
  const tone = b.phase === null ? null : spotTone(programme[b.phase]!)
  if (tone === null || b.tone === null || heard.length === 0) return
  await toneIs(b, tone)
  await sleep(power.clock, power.roles.generator!.settleMs, power.signal)
  const hz = placedHz(power, tone.frequencyHz)
  const peakV = Math.SQRT2 * Math.max(...heard.map(({ spec }) => dueV(b, spec.name, tone)))
  const size = recordSize(b, hz)
  const found = await capture(power, heard, peakV, size)
  const own = ownThd(b, found.rangeV)
  for (const [i, led] of heard.entries()) {
    if (found.isClipped[i]) continue
    await seeSpot(b, led, tone, own, { volts: found.volts[i]!, sampleHz: found.sampleHz })
  }
}

function recordSize({ power: { roles: { digitizer } } }: BurnIn, hz: number): RecordSize {
  return {
    sampleHz: rateFor(digitizer!.sampleRatesHz, perPeriod * hz),
    samples: Math.min(digitizer!.samplesMost, samplesWanted),
  }
}

/** What generator and digitizer add by themselves is somewhere below this: it is in the uncertainty. */
function ownThd({ power: { roles: { generator, digitizer } } }: BurnIn, rangeV: number): number {
  return (generator?.own?.thdMost ?? 0) + (digitizer?.own?.(rangeV).thdMost ?? 0)
}

async function seeSpot(
  b: BurnIn, { spec: { name } }: Led, tone: Tone, own: number,
  record: { readonly volts: Float64Array; readonly sampleHz: number },
): Promise<void> {
  const { power: { recorder }, parameters: { thdMost } } = b
  const thd = thdOf(record.volts, record.sampleHz)
  if (thd === null) return
  const u = Math.hypot(thd.u, own / Math.sqrt(3))
  keepPoint(b, `${name}.thd`, '', thd.value, u)
  const percent = (share: number): string => `${(100 * share).toPrecision(3)} %`
  await recorder.event({
    kind: 'spot', text: `${name}: THD ${percent(thd.value)} ± ${percent(2 * u)} at ${tone.frequencyHz} Hz, `
      + `orders 2 to ${orders}`,
    data: { channel: name, thd: thd.value, u, frequencyHz: tone.frequencyHz, countedS: countedS(b) },
  })
  const isTooMuch = thd.value - 2 * u > thdMost
  const count = isTooMuch ? (b.tooDistorted.get(name) ?? 0) + 1 : 0
  b.tooDistorted.set(name, count)
  if (count === 1) b.nextSpotS = countedS(b) + againS
  if (count < 2) return
  b.power.fault(`output.${name}.thd`, `THD of ${name} is ${percent(thd.value)}, ${percent(thdMost)} at most`)
  throw b.power.signal.reason as Error
}

/** Null where the record holds no tone whose harmonics it tells apart: its level says so elsewhere. */
function thdOf(volts: Float64Array, sampleHz: number): { value: number; u: number } | null {
  try {
    return analyseTone(volts, sampleHz, { harmonicsMost: orders }).thd.f
  } catch (error) {
    if (error instanceof RangeError) return null
    throw error
  }
}
