/** Whether the outputs give what the programme asks, heard again and again: a joint that opens shows here. */
import type { BenchError } from '../base/errors.ts'
import { formatSi } from '../base/format.ts'
import type { BurnIn, Level, Tone } from './burn-in.ts'
import { dueV, levelFor } from './drive.ts'
import { placedHz } from './gains.ts'
import { hearTone, type Heard } from './hear.ts'

/** Often enough for a joint that opens for seconds, seldom enough for a slow link (our choice). */
export const hearEveryMs = 5000
/** A level that is gone for so long does not come back by itself (our choice). */
const goneMs = 30_000

/** Hears the outputs when it is time to, or when what they are to give is new to them. */
export async function hearLevels(b: BurnIn): Promise<void> {
  const { power: { clock }, tone, heard } = b
  if (tone === null || heard.length === 0) return
  if (b.levels.size > 0 && clock.monotonicMs() - b.heardAtMs < hearEveryMs) return
  b.heardAtMs = clock.monotonicMs()
  const peakV = Math.SQRT2 * Math.max(...heard.map(({ spec }) => dueV(b, spec.name, tone)))
  for (const one of await hearTone(b.power, heard, placedHz(b.power, tone.frequencyHz), peakV)) {
    await seeLevel(b, tone, one)
  }
}

async function seeLevel(b: BurnIn, tone: Tone, { name, volts }: Heard): Promise<void> {
  const { power: { clock, recorder }, parameters: { conditions, dropoutsMost } } = b
  const wantedV = dueV(b, name, tone)
  const isAt = volts.quality === 'good'
    && Math.abs(volts.value - wantedV) <= conditions.driveTolerance * wantedV
  const before = b.levels.get(name)
  const nowMs = clock.monotonicMs()
  const offSinceMs = isAt ? null : before?.offSinceMs ?? nowMs
  const loudLooks = volts.quality === 'over-range' ? (before?.loudLooks ?? 0) + 1 : 0
  const level: Level = { dueV: wantedV, levelV: levelFor(b, name, tone), volts, offSinceMs, loudLooks }
  b.levels.set(name, level)
  if (loudLooks > 0) tooLoud(b, name, level)
  if (isAt || !isMainsGood(b)) return
  const got = volts.quality === 'good' ? formatSi(volts.value, 'V') : `a reading that is ${volts.quality}`
  const off = `the output of ${name} gives ${got}, where ${formatSi(wantedV, 'V')} is due`
  if (nowMs - offSinceMs! >= goneMs) return failed(b, name, `${off}, for ${goneMs / 1000} s`)
  if (before !== undefined && before.offSinceMs !== null) return
  const count = (b.dropouts.get(name) ?? 0) + 1
  b.dropouts.set(name, count)
  await recorder.event({ kind: 'dropout', severity: 'warning', text: off, data: { channel: name, count } })
  if (count > dropoutsMost) failed(b, name, `${off}, for the ${count}th time`)
}

/**
 * A range leaves room over what is due. Looked at once more, at once; whose fault it is nobody can tell: the
 * digitizer's, the generator's or the unit's.
 */
function tooLoud(b: BurnIn, name: string, { loudLooks, dueV: wantedV }: Level): void {
  b.heardAtMs = -Infinity
  if (loudLooks < 2) return
  b.power.fault(`digitizer.${name}.range`,
    `the output of ${name} gives more than the digitizer holds, where ${formatSi(wantedV, 'V')} is due`)
  throw b.power.signal.reason as BenchError
}

/** An output that follows a mains that sags is no fault of the unit. */
function isMainsGood({ power: { state, stand, places }, parameters: { conditions } }: BurnIn): boolean {
  const volts = state.last.get(places.mains.voltage.name)
  return volts?.quality === 'good'
    && Math.abs(volts.value - stand.mainsV) <= conditions.mainsTolerance * stand.mainsV
}

function failed({ power }: BurnIn, name: string, text: string): never {
  power.fault(`output.${name}.level`, text)
  throw power.signal.reason as BenchError
}
