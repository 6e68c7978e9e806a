/**
 * How much an output gives for a volt of the generator, by frequency: found with little signal before a
 * programme begins, so that its levels are those that it asks for. V, Hz.
 */
import { sleep } from '../base/clock.ts'
import { formatSi } from '../base/format.ts'
import { median } from '../analysis/statistics.ts'
import { drive, muteAll } from '../powering/mains.ts'
import type { Led } from '../powering/places.ts'
import type { Power } from '../powering/power.ts'
import { hearTone, heardOutputs } from './hear.ts'
import { isDriven, type BurnInParameters, type Phase } from './parameters.ts'

/** Ascending frequencies, and volts out for a volt of the source. */
export interface GainTable { readonly hz: readonly number[]; readonly gain: readonly number[] }

/** Between two frequencies as a straight line over their logarithm; beyond the ends as at them. */
export function gainAt({ hz, gain }: GainTable, atHz: number): number {
  const after = hz.findIndex(one => one >= atHz)
  if (after === -1) return gain[gain.length - 1]!
  if (after === 0) return gain[0]!
  const share = Math.log(atHz / hz[after - 1]!) / Math.log(hz[after]! / hz[after - 1]!)
  return gain[after - 1]! + share * (gain[after]! - gain[after - 1]!)
}

/** So many frequencies in a band that a programme steps through. */
const inBand = 9
/** Where the distortion of a phase without a tone of its own is looked at, Hz. */
export const spotHz = 1000

/** Frequencies at which levels are asked for, ascending. */
export function frequenciesOf(phases: readonly Phase[]): number[] {
  const all = phases.filter(isDriven).flatMap(phase => {
    if ('frequencyHz' in phase) return [phase.frequencyHz]
    const { lowHz, highHz } = phase
    const band = Array.from({ length: inBand }, (_, i) => lowHz * (highHz / lowHz) ** (i / (inBand - 1)))
    return [...band, spotHz]
  })
  return [...new Set(all)].sort((a, b) => a - b)
}

export const ratedV = ({ output: { ratedW, loadOhm } }: Led['spec']): number => Math.sqrt(ratedW * loadOhm)

/** The generator gives whole multiples of its step. */
export const placedHz = ({ roles: { generator } }: Power, hz: number): number => {
  const step = generator?.frequencyStepHz
  return step ? Math.max(1, Math.round(hz / step)) * step : hz
}

/** First so little, as a share of the most that the input takes, then more until the output is seen. */
const firstShare = 1e-4
const factor = 2
/** The output is seen well at this share of its rated volts: 0.25 % of its power. */
const seenShare = 0.05
/** Records of each: a joint that opens for one of them does not lead the table astray. */
const records = 3

/**
 * By channel. A channel that gives nothing is a fault of the unit, and one that gives more than the digitizer
 * holds a fault that is nobody's yet: both end the run. Leaves all muted. Where nothing hears the outputs
 * the gain that a person gave holds for all.
 */
export async function learnGains(
  power: Power, { programme, gain }: BurnInParameters,
): Promise<ReadonlyMap<string, GainTable>> {
  const hz = frequenciesOf(programme).map(one => placedHz(power, one))
  const table = new Map<string, GainTable>()
  if (hz.length === 0) return table
  const heard = new Set(heardOutputs(power))
  for (const led of power.places.outputs) {
    const { name } = led.spec
    table.set(name, heard.has(led) ? await learnOne(power, led, hz) : { hz: [hz[0]!], gain: [gain!] })
  }
  await muteAll(power)
  return table
}

async function learnOne(power: Power, led: Led, hz: readonly number[]): Promise<GainTable> {
  const middle = hz[Math.floor(hz.length / 2)]!
  const levelV = await levelSeen(power, led, middle)
  const gain: number[] = []
  for (const one of hz) gain.push(await outputAt(power, led, one, levelV) / levelV)
  await muteAll(power)
  return { hz, gain }
}

async function levelSeen(power: Power, led: Led, hz: number): Promise<number> {
  const { name, input: { levelMaxV } } = led.spec
  for (let levelV = firstShare * levelMaxV; levelV <= levelMaxV; levelV *= factor) {
    if (await outputAt(power, led, hz, levelV) >= seenShare * ratedV(led.spec)) return levelV
  }
  power.fault(`output.${name}.level`, `the output of ${name} gives nothing for ${levelMaxV} V at its input`)
  throw power.signal.reason as Error
}

async function outputAt(power: Power, led: Led, hz: number, levelV: number): Promise<number> {
  await drive(power, led.spec.name, [{ frequencyHz: hz, levelV }])
  await sleep(power.clock, power.roles.generator!.settleMs, power.signal)
  const seen: number[] = []
  for (let i = 0; i < records; i++) {
    const [heard] = await hearTone(power, [led], hz, 2 * Math.SQRT2 * ratedV(led.spec))
    const { quality, value } = heard!.volts
    if (quality !== 'good') throw tooLoud(power, led, hz, levelV)
    seen.push(value)
  }
  return median(seen)
}

/** A record that clipped is no silence: asking louder of that output would end in its rail. */
function tooLoud(power: Power, { spec: { name } }: Led, hz: number, levelV: number): Error {
  power.fault(`digitizer.${name}.range`, `the output of ${name} gives more than the digitizer holds, for `
    + `${formatSi(levelV, 'V')} of ${hz} Hz at its input`)
  return power.signal.reason as Error
}
