/** A store that fails in the ways that stores do. Reading goes on: a full disk can be read. */
import type { Clock } from '../src/base/clock.ts'
import { sleep } from '../src/base/clock.ts'
import { BenchError } from '../src/base/errors.ts'
import type { Store } from '../src/schema/store.ts'

/** `full` and `failing` reject each write, `slow` takes two seconds over each, `hanging` never ends one. */
export type StoreTrouble = 'full' | 'failing' | 'slow' | 'hanging'

const slowMs = 2000
const words = { full: 'append: database or disk is full (SQLITE_FULL)', failing: 'append: disk I/O error (SQLITE_IOERR_WRITE)' }
const writes = ['createRun', 'appendEvent', 'appendReadings', 'saveResult', 'finishRun'] as const

export interface FailingStore { store: Store; set(trouble: StoreTrouble | null): void }

export function failingStore(inner: Store, clock: Clock): FailingStore {
  let trouble: StoreTrouble | null = null
  const store = { ...inner }
  const through = async (write: () => Promise<unknown>): Promise<unknown> => {
    if (trouble === 'hanging') return await new Promise(() => {})
    if (trouble === 'full' || trouble === 'failing') throw new BenchError('STORE', words[trouble])
    if (trouble === 'slow') await sleep(clock, slowMs)
    return await write()
  }
  for (const name of writes) {
    const write = inner[name] as (...given: unknown[]) => Promise<unknown>
    ;(store as Record<string, unknown>)[name] = (...given: unknown[]) => through(() => write(...given))
  }
  return { store, set: next => { trouble = next } }
}
