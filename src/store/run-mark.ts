/**
 * Which run began last, beside the record and not in it: where the record is lost, or an older one was put in
 * its place, the bench would know nothing of what that run may have left charged.
 */
import {
  closeSync, fsyncSync, openSync, readFileSync, renameSync, rmSync, statSync, writeSync,
} from 'node:fs'
import { join } from 'node:path'
import { z } from 'zod'
import { BenchError } from '../base/errors.ts'

const noted = z.strictObject({ run: z.string().min(1).max(200) })

export class RunMark {
  readonly #file: string

  constructor(dataFolder: string) { this.#file = join(dataFolder, 'last-run.json') }

  /** Null where none began yet, and where the file cannot be read: then nothing is known. */
  get run(): string | null {
    try {
      // Only a plain file: a start must not wait for one who writes into a pipe.
      if (!statSync(this.#file).isFile()) return null
      return noted.parse(JSON.parse(readFileSync(this.#file, 'utf8'))).run
    } catch {
      return null
    }
  }

  /** Durable when it returns. Throws STORE: whoever cannot write this cannot keep a record either. */
  begin(run: string): void {
    const draft = `${this.#file}.new`
    try {
      const handle = openSync(draft, 'w')
      try {
        writeSync(handle, `${JSON.stringify({ run })}\n`)
        fsyncSync(handle)
      } finally {
        closeSync(handle)
      }
      renameSync(draft, this.#file)
    } catch (error) {
      throw new BenchError('STORE', `${this.#file} cannot be written: ${(error as Error).message}`, {}, error)
    }
  }

  clear(): void { rmSync(this.#file, { force: true }) }
}
