/**
 * What the keeper of a data folder did last: a small file for those who come when it has ended. It says
 * nothing while a keeper runs, so that no old safe-off is taken for one of a keeper that was killed.
 */
import { readFileSync, renameSync, rmSync, statSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { z } from 'zod'
import type { Clock } from '../base/clock.ts'
import { safeOffReport, type SafeOffReport } from '../schema/application.ts'
import type { KeeperEvent } from './host.ts'

const ended = z.strictObject({ wallMs: z.number(), safeOff: safeOffReport })
const note = z.strictObject({
  pid: z.number().int(), startedWallMs: z.number(),
  /** When this keeper ended by itself, and the safe-off after which it let nothing energise; null before. */
  ended: ended.nullable(),
})
type Note = z.infer<typeof note>
export type KeeperEnd = z.infer<typeof ended>

const fileIn = (dataFolder: string): string => join(dataFolder, 'keeper-last.json')

/** How the last keeper of `dataFolder` ended; null where one was killed, runs still, or nothing tells. */
export function lastEndOf(dataFolder: string): KeeperEnd | null { return read(dataFolder)?.ended ?? null }

/**
 * The note of one keeper. Nothing here throws: what cannot be written is not there, as when nothing is known.
 */
export class KeeperNote {
  readonly #dataFolder: string
  readonly #clock: Clock
  readonly #own: Note
  #safeOff: SafeOffReport | null = null

  /** Takes the place of what the last keeper noted. */
  constructor(dataFolder: string, clock: Clock, pid: number) {
    this.#dataFolder = dataFolder
    this.#clock = clock
    this.#own = { pid, startedWallMs: Math.round(clock.wallMs()), ended: null }
    write(dataFolder, this.#own)
  }

  /** Energy may come on once it is armed: what was safe before shows nothing then. */
  see(event: KeeperEvent): void {
    if (event.type === 'safe-off') this.#safeOff = event.report
    if (event.type === 'mode' && event.mode === 'armed') this.#safeOff = null
  }

  /** Call it last. A keeper that has a successor already says nothing: the bench is that one's. */
  end(): void {
    const now = read(this.#dataFolder)
    const { pid, startedWallMs } = this.#own
    if (this.#safeOff === null || now?.pid !== pid || now.startedWallMs !== startedWallMs) return
    const ended = { wallMs: Math.round(this.#clock.wallMs()), safeOff: this.#safeOff }
    write(this.#dataFolder, { ...this.#own, ended })
  }
}

/** Only of a plain file: who stops the bench must not wait for one who writes into a pipe. */
function read(dataFolder: string): Note | null {
  const file = fileIn(dataFolder)
  try {
    return statSync(file).isFile() ? note.parse(JSON.parse(readFileSync(file, 'utf8'))) : null
  } catch {
    return null
  }
}

/** Never half; where it cannot be written, what an earlier keeper wrote must not stay. */
function write(dataFolder: string, now: Note): void {
  const file = fileIn(dataFolder)
  const draft = `${file}.${now.pid}`
  try {
    writeFileSync(draft, `${JSON.stringify(now)}\n`)
    renameSync(draft, file)
  } catch {
    for (const path of [draft, file]) try { rmSync(path, { force: true }) } catch { /* as said above */ }
  }
}
