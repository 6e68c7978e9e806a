/**
 * Runs that ended while the record could not be written, as on a full disk: they stand on it as running, and
 * are shown and marked as interrupted.
 */
import type { Clock } from '../base/clock.ts'
import type { PartResult, RunHead, RunRecord } from '../schema/run.ts'
import type { Store } from '../schema/store.ts'

/** What this process knows of a run that has ended. */
export interface Ending {
  readonly run: RunRecord & { readonly endedWallMs: number }
  /** What ended it before its time; null where it got done. */
  readonly why: string | null
  readonly results: readonly PartResult[]
}

interface Deps { readonly store: Store; readonly clock: Clock }

/** Of a run whose end nobody here saw no more is known than that nobody runs it. Only while nothing runs. */
export async function interruptUnended({ store, clock }: Deps): Promise<void> {
  for (const id of await store.interruptRunning(clock.wallMs())) {
    await note({ store, clock }, id, 'the end of this run could not be written, and is not known any more')
  }
}

export class Unended {
  readonly #d: Deps
  readonly #endings = new Map<string, Ending>()

  constructor(deps: Deps) { this.#d = deps }

  /** Keeps it where the record still has the run as running, or cannot be read; whether it does. */
  async take(ending: Ending): Promise<boolean> {
    const { id } = ending.run
    const isOpen = await this.#d.store.run(id).then(run => run?.state === 'running', () => true)
    if (isOpen) this.#endings.set(id, ending)
    return isOpen
  }

  /** When the run ended, as this process knows it; null where it does not. */
  endOf(id: string): number | null { return this.#endings.get(id)?.run.endedWallMs ?? null }

  /**
   * Marks them all `interrupted`, with what is known. Only while nothing runs. Rejects STORE, and then keeps
   * them.
   */
  async record(): Promise<void> {
    const { store } = this.#d
    for (const [id, { run, why, results }] of this.#endings) {
      // A write that was only late may have come to its end since.
      if ((await store.run(id))?.state === 'running') {
        for (const result of results) await store.saveResult(id, result)
        const at = new Date(run.endedWallMs).toISOString()
        await note(this.#d, id, `this run ended ${run.state} at ${at}${why === null ? '' : `: ${why}`}; `
          + 'that could not be written then, and what else is missing is lost')
        await store.finishRun(id, 'interrupted', run.endedWallMs)
      }
      this.#endings.delete(id)
    }
    await interruptUnended(this.#d)
  }
}

/** Under this kind a record says why a run on it has no end of its own. */
const kind = 'end-not-written'

async function note({ store, clock }: Deps, id: string, text: string): Promise<void> {
  await store.appendEvent(id, {
    kind, severity: 'warning', text, atMs: clock.monotonicMs(), wallMs: clock.wallMs(),
  })
}

/** The record as it is to be shown: no run goes on but where `goesOn` says so. */
export function asItStands(
  store: Store, goesOn: (id: string) => boolean, endOf: (id: string) => number | null,
): Store {
  const shown = <R extends RunHead>(run: R): R => run.state !== 'running' || goesOn(run.id) ? run
    : { ...run, state: 'interrupted', endedWallMs: endOf(run.id) }
  // All else is the record's own, also where a method of it is replaced later.
  return Object.assign(Object.create(store) as Store, {
    listRuns: async limit => (await store.listRuns(limit)).map(shown),
    run: async id => {
      const run = await store.run(id)
      return run && shown(run)
    },
    partHistory: async part =>
      (await store.partHistory(part)).map(({ run, result }) => ({ run: shown(run), result })),
  } satisfies Partial<Store>)
}
