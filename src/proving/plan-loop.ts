/** What must be known of the bench itself before these jobs. */
import { audioBand, type Band } from '../analysis/audio/spectrum.ts'
import type { EqualisationName } from '../analysis/audio/equalisation.ts'
import type { Job } from './jobs.ts'
import { pairKey } from './floor.ts'
import { toneSize } from './hear-tone.ts'
import type { RecordSize } from './listen.ts'
import { loopLevels, type LoopAsked, type LoopPair, type LoopTone } from './loop-back.ts'
import { channelOf, limitsOf, type Planned } from './proving.ts'
import { quietSize } from './quiet.ts'
import { driveShare, referenceHz, responseFrequencies, responseLevelV } from './response.ts'

const orders = 10
const responseOrders = 2

export function loopFor(proving: Planned, jobs: readonly Job[]): LoopAsked {
  const { port } = proving
  const all = port.channels.map(({ name }) => name)
  const needed = jobs.flatMap(job => (job.channel === null || isTogether(job) ? all : [job.channel])
    .flatMap(channel => tonesOf(proving, job, channel)))
  const tones = merged(needed)
  const sizes = [...jobs.some(job => job.do === 'quiet') ? [quietSize(proving)] : [],
    ...tones.map(({ hz, orders: most, band }) => toneSize(proving, { hz, orders: most, band }))]
  return {
    tones, silence: { rangesV: jobs.length === 0 ? [] : port.digitizer.rangesV, sizes: byRate(sizes) },
    leaksHz: [...new Set(jobs.flatMap(job => job.do === 'separation' ? [job.hz] : []))],
    pairs: pairsOf(proving, jobs),
  }
}

const isTogether = (job: Job): boolean => 'driven' in job && job.driven === 'all'

/** The longest record at each rate. */
function byRate(sizes: readonly RecordSize[]): RecordSize[] {
  const longest = new Map<number, RecordSize>()
  for (const size of sizes) {
    if (size.samples > (longest.get(size.sampleHz)?.samples ?? 0)) longest.set(size.sampleHz, size)
  }
  return [...longest.values()]
}

export const mostDriveV = (proving: Planned, channel: string): number => Math.min(
  channelOf(proving, channel).input.levelMaxV, limitsOf(proving, channel).driveMaxV,
  proving.port.generator.levelMaxV)

function tonesOf(proving: Planned, job: Job, channel: string): LoopTone[] {
  const grid = loopLevels(mostDriveV(proving, channel))
  const at = (hz: number, band: Band = audioBand, most = orders): LoopTone =>
    ({ channel, hz, levelsV: grid, orders: most, band })
  switch (job.do) {
    case 'quiet': case 'intermodulation': case 'separation': case 'damping factor': return []
    case 'overload recovery': return [at(referenceHz)]
    case 'distortion': case 'output power': return [at(job.hz, job.band, job.orders)]
    case 'power bandwidth':
      return octaves(job.towards, job.endHz).map(hz => at(hz, job.band, job.orders))
    case 'response':
      return responseTones(proving, channel, responseFrequencies(job.fromHz, job.toHz), job.against)
    case 'corner': return responseTones(proving, channel, octaves(job.towards, job.endHz))
    case 'gain': case 'input sensitivity': case 'channel balance': return [at(job.hz)]
  }
}

function responseTones(
  proving: Planned, channel: string, frequenciesHz: readonly number[], against?: EqualisationName,
): LoopTone[] {
  const levelV = responseLevelV(proving, channel)
  return [...new Set([referenceHz, ...frequenciesHz])].map(hz => ({
    channel, hz, orders: responseOrders, band: audioBand, levelsV: [levelV * driveShare(hz, against)],
  }))
}

function octaves(towards: 'low' | 'high', endHz: number): number[] {
  const list = [referenceHz]
  const step = towards === 'low' ? 0.5 : 2
  const isPast = (hz: number): boolean => towards === 'low' ? hz <= endHz : hz >= endHz
  while (!isPast(list.at(-1)! * step)) list.push(list.at(-1)! * step)
  return [...list, endHz]
}

/** One loop-back for each channel, frequency, band and order; levels together. */
function merged(tones: readonly LoopTone[]): LoopTone[] {
  const found = new Map<string, LoopTone>()
  for (const tone of tones) {
    const key = [tone.channel, tone.hz, tone.band.fromHz, tone.band.toHz, tone.orders].join(' ')
    const levelsV = [...new Set([...found.get(key)?.levelsV ?? [], ...tone.levelsV])]
    found.set(key, { ...tone, levelsV })
  }
  return [...found.values()]
}

function pairsOf(proving: Planned, jobs: readonly Job[]): LoopAsked['pairs'] {
  const wanted = new Map<string, LoopPair>()
  for (const job of jobs) {
    if (job.do !== 'intermodulation') continue
    const levelsV = loopLevels(mostDriveV(proving, job.channel)).slice(0, 3)
    const { channel, form, tones } = job
    wanted.set(pairKey(channel, form, tones, ''), { channel, form, tones, levelsV })
  }
  return [...wanted.values()]
}
