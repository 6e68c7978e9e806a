/**
 * The campaign: whole nights in virtual time, each drawn by its seed, in worker processes. A night that fails prints its
 * seed; `--only SEED` replays it. With `--json` the last line is one object.
 */
import { fork } from 'node:child_process'
import type { ChildProcess } from 'node:child_process'
import { once } from 'node:events'
import { loadavg } from 'node:os'
import { parseArgs } from 'node:util'
import { packageFile } from '../src/base/paths.ts'
import { campaignNight } from './campaign-night.ts'
import type { NightReport } from './campaign-night.ts'
import { canaries } from './canaries.ts'
import type { Canary, Rewrite } from './canary.ts'
import { rewritesOf } from './canary.ts'
import { drawNight } from './draw.ts'

const { values: asked } = parseArgs({
  options: {
    count: { type: 'string', default: '100' }, seed: { type: 'string' }, jobs: { type: 'string', default: '2' },
    json: { type: 'boolean', default: false }, canary: { type: 'string' }, only: { type: 'string' }, seconds: { type: 'string' },
  },
})
/** A worker is replaced after so many nights: what a night leaves behind in its process ends with it. */
const nightsPerWorker = 500
/** A canary that was not found in so many nights that could show it counts as missed. */
const canaryNightsMost = 60
/** Where nights that could show it are rare: so many are drawn for it, which costs seconds. */
const canaryDrawsMost = 500_000
const progressMs = 10_000

const count = Number(asked.count)
/** No further night is begun after so long. */
const mostMs = asked.seconds === undefined ? Infinity : 1000 * Number(asked.seconds)
const first = asked.seed === undefined ? Math.floor(Math.random() * 1e9) : Number(asked.seed)

interface Totals { nights: number; benchHours: number; faults: Map<string, number>; failed: NightReport[]; nuisance: NightReport[]; faultFree: number; readingsMost: number; cpuS: number; states: Map<string, number>; rssMostMb: number }
const fresh = (): Totals => ({ nights: 0, benchHours: 0, faults: new Map(), failed: [], nuisance: [], faultFree: 0, readingsMost: 0, cpuS: 0, states: new Map(), rssMostMb: 0 })

function add(totals: Totals, report: NightReport & { rssMb?: number }): void {
  totals.nights++
  totals.benchHours += report.benchHours
  totals.cpuS += report.cpuS
  totals.readingsMost = Math.max(totals.readingsMost, report.readings)
  totals.rssMostMb = Math.max(totals.rssMostMb, report.rssMb ?? 0)
  if (report.faults.length === 0) totals.faultFree++
  for (const kind of report.faults) totals.faults.set(kind, (totals.faults.get(kind) ?? 0) + 1)
  for (const state of report.states) totals.states.set(state, (totals.states.get(state) ?? 0) + 1)
  if (report.nuisance.length > 0) totals.nuisance.push(report)
  if (report.violations.length === 0) return
  totals.failed.push(report)
  tell(report)
}

function tell({ seed, title, violations }: NightReport): void {
  console.log(`seed ${seed}: ${title}`)
  for (const text of violations.slice(0, 6)) console.log(`    ${text}`)
}

class Worker {
  #child: ChildProcess | null = null
  #nights = 0

  readonly #options: { execArgv?: string[]; env?: NodeJS.ProcessEnv }

  constructor(rewrites: readonly Rewrite[] = []) {
    const built = rewrites.map(one => ({ ...one, file: packageFile(one.file) }))
    this.#options = built.length === 0 ? {} : {
      execArgv: ['--import', packageFile('dist/nights/rewrite.js')],
      env: { ...process.env, NIGHTS_REWRITE: JSON.stringify(built) },
    }
  }

  async night(seed: number, canary: string | null): Promise<NightReport> {
    if (this.#nights++ % nightsPerWorker === 0) await this.end()
    this.#child ??= fork(packageFile('dist/nights/worker.js'), this.#options)
    const child = this.#child
    const ended = new AbortController()
    const gone = once(child, 'exit', { signal: ended.signal })
      .then(([code]) => { throw new Error(`the worker of seed ${seed} ended with ${String(code)}`) })
    gone.catch(() => {})
    child.send({ seed, canary })
    try {
      const [report] = await Promise.race([once(child, 'message', { signal: ended.signal }), gone])
      return report as NightReport
    } finally { ended.abort() }
  }

  async end(): Promise<void> {
    const child = this.#child
    this.#child = null
    if (child === null || child.exitCode !== null) return
    const ended = once(child, 'exit')
    child.disconnect()
    await ended
  }
}

async function campaign(seeds: readonly number[], jobs: number): Promise<Totals> {
  const totals = fresh()
  let next = 0
  let toldMs = Date.now()
  const startedMs = Date.now()
  await Promise.all(Array.from({ length: jobs }, async () => {
    const worker = new Worker()
    while (next < seeds.length && Date.now() - startedMs < mostMs) {
      add(totals, await worker.night(seeds[next++]!, null))
      if (Date.now() - toldMs < progressMs) continue
      toldMs = Date.now()
      const perS = totals.nights / ((toldMs - startedMs) / 1000)
      console.log(`${totals.nights} of ${seeds.length} nights, ${totals.benchHours.toFixed(0)} bench hours, ${perS.toFixed(2)} nights/s, `
        + `${totals.failed.length} with violations, load ${loadavg()[0]!.toFixed(1)}`)
    }
    await worker.end()
  }))
  return totals
}

/** `drawn`: nights of the whole campaign until then; only `ran` of them could show it and were run. */
interface Found { mechanism: string; found: boolean; drawn: number; ran: number; by: string; whole: NightReport[] }

/**
 * Goes through the nights as the campaign draws them, and runs those that could show that the mechanism is missing: a
 * campaign of `drawn` nights would have found it too.
 */
async function watchFor(canary: Canary, firstSeed: number): Promise<Found> {
  const worker = new Worker(rewritesOf(canary))
  const intact = new Worker()
  const seen = { mechanism: canary.mechanism, ran: 0, drawn: 0, whole: [] as NightReport[] }
  try {
    while (seen.ran < canaryNightsMost && seen.drawn < canaryDrawsMost) {
      const seed = firstSeed + seen.drawn++
      if (!canary.about(drawNight(seed))) continue
      seen.ran++
      const { violations: [violation] } = await worker.night(seed, canary.mechanism)
      if (violation === undefined) continue
      const whole = await intact.night(seed, null)
      if (whole.violations.length === 0) return { ...seen, found: true, by: `seed ${seed}: ${violation}` }
      // What a whole bench shows too is not what the canary was found by, and it is a find of its own.
      seen.whole.push(whole)
      tell(whole)
    }
    return { ...seen, found: false, by: 'NOT FOUND' }
  } finally { await worker.end(); await intact.end() }
}

async function allCanaries(which: string, jobs: number): Promise<Found[]> {
  const wanted = which === 'all' ? [...canaries] : canaries.filter(({ mechanism }) => mechanism.includes(which))
  if (wanted.length === 0) throw new Error(`no canary ${which}; there are: ${canaries.map(({ mechanism }) => mechanism).join(', ')}`)
  const all: Found[] = []
  await Promise.all(Array.from({ length: jobs }, async () => {
    for (let canary = wanted.shift(); canary !== undefined; canary = wanted.shift()) {
      const one = await watchFor(canary, first)
      all.push(one)
      console.log(`without ${one.mechanism}: ${one.found ? `found after ${one.drawn} nights` : `NOT found in ${one.drawn} nights`} (${one.ran} run; ${one.by})`)
    }
  }))
  return all
}

function table(totals: Totals, wallS: number): void {
  const list = (map: Map<string, number>): string => [...map].sort((a, b) => b[1] - a[1]).map(([what, n]) => `${what} ${n}`).join(', ')
  const rows: [string, string][] = [
    ['nights', `${totals.nights}, seeds ${first} to ${first + totals.nights - 1}`],
    ['bench hours', `${totals.benchHours.toFixed(0)}, ${(totals.benchHours / totals.nights).toFixed(2)} a night`],
    ['readings', `${totals.readingsMost} at most in one night`],
    ['runs', list(totals.states)], ['faults', list(totals.faults)],
    ['fault-free', `${totals.faultFree} nights; nuisance trips and sound parts dropped in ${totals.nuisance.length} of them (${(1000 * totals.nuisance.length / Math.max(1, totals.faultFree)).toFixed(1)} per 1,000)`],
    ['violations', `${totals.failed.length} nights`],
    ['time', `${wallS.toFixed(0)} s wall, ${(totals.cpuS / totals.nights).toFixed(2)} s of computing a night; load ${loadavg().map(x => x.toFixed(1)).join(' ')}`],
    ['memory', `${totals.rssMostMb.toFixed(0)} MB at most in a worker`],
  ]
  for (const [name, value] of rows) console.log(`${name.padEnd(12)} ${value}`)
  for (const { seed, title, nuisance } of totals.nuisance.slice(0, 20)) console.log(`nuisance, seed ${seed}: ${title}\n    ${nuisance[0]}`)
}

const startedMs = Date.now()
if (asked.only !== undefined) {
  const report = await campaignNight(Number(asked.only))
  tell(report)
  console.log(JSON.stringify(report, null, 1))
  process.exitCode = report.violations.length > 0 ? 1 : 0
} else {
  const jobs = Number(asked.jobs)
  const found = asked.canary === undefined ? [] : await allCanaries(asked.canary, jobs)
  const totals = asked.canary === undefined ? await campaign(Array.from({ length: count }, (_, i) => first + i), jobs) : fresh()
  totals.failed.push(...found.flatMap(({ whole }) => whole))
  const wallS = (Date.now() - startedMs) / 1000
  if (asked.canary === undefined) table(totals, wallS)
  else console.log(`${found.filter(one => one.found).length} of ${found.length} canaries found, seeds from ${first}; ${wallS.toFixed(0)} s`)
  if (asked.json) {
    console.log(JSON.stringify({
      nights: totals.nights, benchHours: Math.round(totals.benchHours), faults: Object.fromEntries(totals.faults),
      violations: totals.failed.length, nuisance: totals.nuisance.length, seeds: totals.failed.map(({ seed }) => seed), wallS,
      canaries: found.map(one => ({ mechanism: one.mechanism, foundAfterNights: one.found ? one.drawn : null })),
    }))
  }
  const missed = found.some(one => !one.found)
  process.exitCode = totals.failed.length > 0 || totals.nuisance.length > 0 || missed ? 1 : 0
}
