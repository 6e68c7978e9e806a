/**
 * From claims to the shortest list of measurements: the same one is made once, the patch is changed once,
 * loads are changed seldom, and what heats comes last. Says what each takes, and which claims cannot be
 * proven here.
 */
import type { Claim } from '../schema/claims.ts'
import { Cannot, jobsOf, wattsOfJob, type Bench } from './claim-jobs.ts'
import type { Job, QuietAsked } from './jobs.ts'
import { loopFor } from './plan-loop.ts'
import { loopSeconds, secondsOf } from './plan-time.ts'
import type { LoopAsked } from './loop-back.ts'
import type { Planned } from './proving.ts'

export interface WordedClaim { readonly words: string; readonly claim: Claim }

export interface PlanStep {
  readonly job: Job
  /** Indexes of the claims that it is for. */
  readonly claims: readonly number[]
  readonly seconds: number
  /** Most that it puts into the load of each channel that it drives, W. */
  readonly loadW: number
}

export interface Unprovable {
  readonly claim: number
  /** Null: on every channel. */
  readonly channel: string | null
  readonly why: string
}

export interface Plan {
  readonly loop: LoopAsked
  readonly loopSeconds: number
  readonly steps: readonly PlanStep[]
  readonly unprovable: readonly Unprovable[]
  /** All of it, without the time that a person needs at the patch. */
  readonly seconds: number
}

export function planProof(proving: Planned, bench: Bench, claims: readonly WordedClaim[]): Plan {
  const wanted = new Map<string, { job: Job; claims: Set<number> }>()
  const unprovable: Unprovable[] = []
  claims.forEach(({ claim }, index) => {
    const channels = bench.reach.channels
      .filter(({ name }) => claim.channel === undefined || claim.channel === name)
    if (channels.length === 0) {
      const why = `the unit has no channel ${claim.channel}`
      unprovable.push({ claim: index, channel: claim.channel!, why })
    }
    for (const channel of channels) {
      const jobs = jobsOf({ claim, channel, bench })
      if (jobs instanceof Cannot) unprovable.push({ claim: index, channel: channel.name, why: jobs.why })
      else for (const job of jobs) want(wanted, job, index)
    }
  })
  const merged = ordered([...wanted.values()], bench)
  const loop = loopFor(proving, merged.map(({ job }) => job))
  const steps = merged.map(({ job, claims: of }): PlanStep => ({
    job, claims: [...of].sort((a, b) => a - b), loadW: wattsOfJob(job),
    seconds: secondsOf(proving, job, bench.loads),
  }))
  const inLoop = loopSeconds(proving, loop)
  return {
    loop, loopSeconds: inLoop, steps, unprovable: gathered(unprovable, bench),
    seconds: steps.reduce((sum, step) => sum + step.seconds, inLoop),
  }
}

/** Jobs that are the same to the last condition are one; what is heard of a silent channel is heard once. */
function want(wanted: Map<string, { job: Job; claims: Set<number> }>, job: Job, claim: number): void {
  const key = job.do === 'quiet' ? `quiet ${job.channel} ${job.loadOhm}` : JSON.stringify(job)
  const known = wanted.get(key)
  if (known === undefined) { wanted.set(key, { job, claims: new Set([claim]) }); return }
  known.claims.add(claim)
  if (job.do === 'quiet' && known.job.do === 'quiet') {
    known.job = { ...job, asked: together(known.job.asked, job.asked) }
  }
}

function together(a: readonly QuietAsked[], b: readonly QuietAsked[]): QuietAsked[] {
  const known = new Set(a.map(one => JSON.stringify(one)))
  return [...a, ...b.filter(one => !known.has(JSON.stringify(one)))]
}

const rank: Readonly<Record<Job['do'], number>> = {
  quiet: 0, 'channel balance': 1, gain: 1, response: 2, corner: 2, separation: 3, 'input sensitivity': 4,
  distortion: 5, intermodulation: 6, 'power bandwidth': 7, 'damping factor': 3, 'output power': 8,
  'overload recovery': 9,
}

/** Loads from that of the profile on, each once; at each silence first, then by rising watts. */
function ordered<T extends { job: Job }>(list: readonly T[], { reach }: Bench): T[] {
  const ratedOhm = reach.channels[0]!.output.loadOhm
  const away = ({ job }: T): number => Math.abs(Math.log(job.loadOhm / ratedOhm))
  return list.map((one, at) => ({ one, at })).sort((a, b) =>
    away(a.one) - away(b.one) || a.one.job.loadOhm - b.one.job.loadOhm
    || heatOf(a.one.job) - heatOf(b.one.job)
    || rank[a.one.job.do] - rank[b.one.job.do] || a.at - b.at).map(({ one }) => one)
}

/** A search goes beyond what it aims at, and an overload is more than its watts say. */
const heatOf = (job: Job): number =>
  wattsOfJob(job) * (job.do === 'overload recovery' ? 2 : job.do === 'output power' ? 1.5 : 1)

/** A reason that holds for every channel is told once. */
function gathered(list: readonly Unprovable[], { reach }: Bench): Unprovable[] {
  const told: Unprovable[] = []
  for (const one of list) {
    const same = list.filter(({ claim, why }) => claim === one.claim && why === one.why)
    const entry = same.length === reach.channels.length && same.length > 1 ? { ...one, channel: null } : one
    const isTold = told.some(({ claim, channel, why }) =>
      claim === entry.claim && channel === entry.channel && why === entry.why)
    if (!isTold) told.push(entry)
  }
  return told
}
