/** One round: a night begins, something happens to it, and the bench is held against what must be true. */
import { mkdirSync, mkdtempSync, rmSync } from 'node:fs'
import { join } from 'node:path'
import type { SeededRandom } from '../src/base/random.ts'
import type { RunRecord, StartRequest } from '../src/schema/run.ts'
import { momentOf, waitMs, type Kind } from './kinds.ts'
import { startBench, startDaemon, type Effect, type LiveBench, type LiveDaemon } from './processes.ts'
import { checkRecord } from './record-check.ts'
import { smallDisk, type SmallDisk } from './small-disk.ts'
import { watchFeed } from './witness.ts'

export interface RoundOutcome {
  /** Null where the supply was not on yet when it happened. */
  offMs: number | null
  /** What is wrong, or null: still on after the longest wait, or on again after it was off. */
  energised: string | null
  lostReadings: number
  shownReadings: number
  corrupt: string | null
}

/** Above the hold time of the contact, and a new keeper's start. */
const longestMs = 9000
const pollMs = 40
/** How long a bench that is off is watched for coming back on. */
const quietMs = 1000

/** One bench after another on one kind of link, and its record; daemons come and go. */
export class Lane {
  readonly #folder: string
  readonly #serial: boolean
  readonly #random: SeededRandom
  /** Where a disk was to be full: how that was done. */
  disk: SmallDisk | null = null
  #bench: LiveBench | null = null
  #data: string
  /** The run of the last round, which the next daemon must find interrupted. */
  #left: string | null = null

  constructor(folder: string, serial: boolean, random: SeededRandom) {
    this.#folder = mkdtempSync(join(folder, 'lane-'))
    this.#serial = serial
    this.#random = random
    this.#data = join(this.#folder, 'data')
  }

  async round(kind: Kind): Promise<RoundOutcome> {
    if (kind.fullDisk) this.#freshData()
    const bench = this.#bench ??= await startBench(this.#folder, this.#serial, this.#random.integer(1, 1e6))
    const daemon = await startDaemon(bench.benchPath, this.#data, this.#folder)
    try {
      const unfound = this.#left !== null && !daemon.interrupted.includes(this.#left)
        ? `run ${this.#left} was not found interrupted` : null
      const outcome = await this.#night(kind, bench, daemon)
      return { ...outcome, corrupt: unfound ?? outcome.corrupt }
    } finally {
      await daemon.end()
      if (kind.spoilsBench) { await bench.close(); this.#bench = null }
    }
  }

  async close(): Promise<void> {
    await this.#bench?.close()
    this.disk?.remove()
    rmSync(this.#folder, { recursive: true, force: true, maxRetries: 5 })
  }

  async #night(kind: Kind, bench: LiveBench, daemon: LiveDaemon): Promise<RoundOutcome> {
    await acknowledged(daemon.url)
    const run = await post(daemon.url, 'runs', requestFor(bench)) as RunRecord
    const witness = await watchFeed(daemon.url, run.id)
    await waitMs(momentOf(this.#random))
    const scene = { bench, daemon, dataFolder: this.#data, random: this.#random, disk: this.disk }
    const actedMs = performance.now() + bench.offsetMs
    await kind.act(scene)
    await offOrLongest(bench, kind)
    await waitMs(quietMs)
    const seen = await this.#look(kind, bench, actedMs)
    // Some rounds leave the daemon alive: what it says to the end counts too.
    witness.close()
    await daemon.end()
    this.disk?.free()
    const lasting = witness.lasting()
    const { open, ...check } = await checkRecord(join(this.#data, 'record.db'), run.id, lasting, seen.wasOn)
    this.#left = open ? run.id : null
    return { offMs: seen.offMs, energised: seen.energised, shownReadings: lasting.length, ...check }
  }

  async #look(kind: Kind, bench: LiveBench, actedMs: number): Promise<{
    offMs: number | null; energised: string | null; wasOn: boolean
  }> {
    const [instrument, what] = kind.off === 'output' ? ['psu', 'output'] : ['cutoff', 'contact']
    const effects = await bench.effects(instrument!, what!)
    const { contactorClosed, supplyDriven } = await bench.state()
    const before = effects.findLast(({ atMs }) => atMs < actedMs)
    const after = effects.filter(({ atMs }) => atMs >= actedMs)
    const offAt = after.find(({ value }) => value === 0)
    const stillOn = contactorClosed ? 'the contact is closed'
      : kind.off === 'output' && supplyDriven ? 'the supply is on' : null
    return {
      offMs: before?.value === 1 && offAt ? offAt.atMs - actedMs : null,
      energised: stillOn ?? onAgain(after, offAt), wasOn: before?.value === 1,
    }
  }

  #freshData(): void {
    this.#left = null
    this.disk ??= smallDisk()
    this.#data = join(this.disk.folder, 'data')
    rmSync(this.#data, { recursive: true, force: true })
    mkdirSync(this.#data)
  }
}

function onAgain(after: readonly Effect[], offAt: Effect | undefined): string | null {
  const again = offAt && after.find(({ atMs, value }) => atMs > offAt.atMs && value === 1)
  return again ? `on again ${Math.round(again.atMs - offAt.atMs)} ms after it was off` : null
}

async function offOrLongest(bench: LiveBench, kind: Kind): Promise<void> {
  const untilMs = performance.now() + longestMs
  while (performance.now() < untilMs) {
    const { contactorClosed, supplyDriven } = await bench.state()
    if (!contactorClosed && !(kind.off === 'output' && supplyDriven)) return
    await waitMs(pollMs)
  }
}

/** As soon as what the last round left on the bus has been measured. */
async function acknowledged(url: string): Promise<void> {
  for (;;) {
    try {
      await post(url, 'acknowledge', { person: 'rounds', reason: 'another round' })
      return
    } catch (error) {
      if (!(error as Error).message.includes('being measured')) throw error
    }
    await waitMs(100)
  }
}

/** Quick to a voltage that matters. */
const parameters = { slewVPerS: 15, minStepS: 60 }

function requestFor({ parts }: LiveBench): StartRequest {
  return {
    sequence: 'reform', parameters, use: 'unattended', person: 'rounds',
    cautionsConfirmed: true, polarityConfirmed: true,
    parts: parts.map(part => ({ ...part, note: '', condition: 'sound' as const })),
  }
}

async function post(url: string, path: string, body: object): Promise<unknown> {
  const answer = await fetch(`${url}/api/v1/${path}`, {
    method: 'POST', headers: { 'content-type': 'application/json' }, body: JSON.stringify(body),
  })
  const said = await answer.json() as unknown
  if (!answer.ok) throw new Error(`${path}: ${answer.status} ${JSON.stringify(said)}`)
  return said
}
