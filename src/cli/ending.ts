/** What ends the daemon: a signal, or an error that nobody caught. */
import type { Log } from '../base/log.ts'

export interface Ending { why: string; error: unknown }

/** One that comes again and again must not fill a disk. */
const errorsTold = 10

/**
 * Resolves with the first of them; the bench is made safe once. What comes after is told a few times and
 * begins nothing: an error on the way out, or in telling of one, would else go round for ever.
 */
export function whenEnding(from: Pick<NodeJS.Process, 'on'>, log: Pick<Log, 'error'>): Promise<Ending> {
  let errors = 0
  return new Promise(resolve => {
    for (const name of ['SIGINT', 'SIGTERM'] as const) {
      from.on(name, () => resolve({ why: name, error: null }))
    }
    for (const name of ['uncaughtException', 'unhandledRejection'] as const) {
      from.on(name, (error: unknown) => {
        resolve({ why: `an error that nobody caught (${inWords(error)})`, error: error ?? new Error(name) })
        if (++errors <= errorsTold) tell(log, error)
      })
    }
  })
}

function inWords(error: unknown): string {
  try { return String(error) } catch { return 'without words' }
}

function tell(log: Pick<Log, 'error'>, error: unknown): void {
  try { log.error({ err: error }, 'an error that nobody caught') } catch { /* thrown, it came back here */ }
}
