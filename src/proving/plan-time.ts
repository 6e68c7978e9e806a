/** How long measurements take: records, settling, and rests that loads need. */
import { audioBand } from '../analysis/audio/spectrum.ts'
import { wattsOfJob } from './claim-jobs.ts'
import { upS } from './drive.ts'
import { toneSize } from './hear-tone.ts'
import type { Job } from './jobs.ts'
import { recordFor, recordS } from './listen.ts'
import type { LoopAsked } from './loop-back.ts'
import type { LoadState } from './port.ts'
import type { Planned } from './proving.ts'
import { quietSize } from './quiet.ts'
import { responseFrequencies } from './response.ts'

/** Links and ranges beside each record, s. */
const besideS = 0.15
/** Captures that are averaged, as noise has it on the whole. */
const typical = 4

function toneS(proving: Planned, hz: number, captures: number): number {
  const size = toneSize(proving, { hz, orders: 10, band: audioBand })
  return upS(proving, [{ frequencyHz: hz, levelV: 1 }]) + captures * (recordS(size) + besideS)
}

/** Times that something is driven, and captures each time. */
function drives(job: Job): { hz: number; times: number; captures: number } {
  switch (job.do) {
    case 'quiet': return { hz: 1000, times: 0, captures: 0 }
    case 'gain': case 'input sensitivity': case 'distortion': return { hz: job.hz, times: 3, captures: 2 }
    case 'channel balance': return { hz: job.hz, times: 6, captures: 2 }
    case 'response':
      return { hz: 1000, times: responseFrequencies(job.fromHz, job.toHz).length + 1, captures: 2 }
    case 'corner': return { hz: job.towards === 'low' ? 50 : 10_000, times: 12, captures: 2 }
    case 'separation': return { hz: job.hz, times: 1, captures: 7 }
    case 'damping factor': return { hz: job.hz, times: 2, captures: 3 }
    case 'intermodulation': return { hz: 60, times: 1, captures: typical }
    case 'output power': return { hz: job.hz, times: 20, captures: 1 }
    case 'power bandwidth': return { hz: job.towards === 'low' ? 50 : 10_000, times: 16, captures: 1 }
    case 'overload recovery': return { hz: job.hz, times: 1, captures: 1 }
  }
}

const quietCaptures = 8

export function secondsOf(proving: Planned, job: Job, loads: Readonly<Record<string, LoadState>>): number {
  if (job.do === 'quiet') return quietCaptures * (recordS(quietSize(proving)) + besideS)
  const { hz, times, captures } = drives(job)
  const onS = times * toneS(proving, hz, captures)
  const load = loads[job.channel ?? proving.port.channels[0]!.name]
  return onS + restS(onS, wattsOfJob(job), load)
}

/** What must be rested so that on the whole no more than the continuous watts go in. */
function restS(onS: number, watts: number, load: LoadState | undefined): number {
  const { continuousW = null, peakW = null, peakS = null } = load ?? {}
  if (continuousW === null || peakW === null || peakS === null || watts <= continuousW) return 0
  return Math.max(0, onS * (watts - continuousW) - (peakW - continuousW) * peakS) / continuousW
}

const silentCaptures = 4
const leakCaptures = 7

export function loopSeconds(proving: Planned, { tones, silence, leaksHz, pairs }: LoopAsked): number {
  const channels = proving.port.channels.length
  const silent = silence.sizes.reduce((sum, size) => sum + recordS(size) + besideS, 0)
    * silentCaptures * silence.rangesV.length * channels
  const total = (times: readonly number[]): number => times.reduce((sum, one) => sum + one, 0)
  const toneTime = total(tones.map(({ hz, levelsV }) => levelsV.length * toneS(proving, hz, typical)))
  const leaks = total(leaksHz.map(hz => channels * (channels - 1) * toneS(proving, hz, leakCaptures)))
  const pairSize = recordFor(proving, { lowHz: 60, topHz: audioBand.toHz })
  const pairTime = total(pairs.map(({ levelsV }) => levelsV.length)) * typical * (recordS(pairSize) + besideS)
  return silent + toneTime + leaks + pairTime
}
