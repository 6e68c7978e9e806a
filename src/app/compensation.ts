/**
 * Compensating the jig within a session: what it adds is found and put on record, or what an earlier session
 * found is taken over where the empty jig still reads the same. Until then nothing is taken off.
 */
import { createHash } from 'node:crypto'
import { formatSi } from '../base/format.ts'
import type { BenchJig } from '../engine/jig.ts'
import type { BenchFile } from '../schema/bench.ts'
import {
  compensatedEvent, driftEvent, nullEvent, nullRow, type CompensatedBy, type NullRow, type Nulls,
} from '../schema/compensation.ts'
import type { RoleName } from '../schema/roles.ts'
import type { RunEvent, RunHead } from '../schema/run.ts'
import type { Store } from '../schema/store.ts'
import { ageInWords, driftOf, emptyDrift } from '../screening/null-drift.ts'
import {
  nullFrequencies, nullRows, nullsInWords, readOpen, readShort, zerosFor, type OpenRead,
} from '../screening/nulls.ts'
import { residualsOf } from '../screening/residuals.ts'
import type { ZeroName } from '../screening/session.ts'
import type { ToProve } from '../screening/to-prove.ts'
import { runsBack } from './runs-back.ts'
import { screenSequence } from './settled.ts'

/** So many sessions back it is looked for: the list of parts of each is read for it. */
const sessionsMost = 100
/** Older than this it is not taken over (common practice). */
const freshMs = 24 * 3_600_000

/** Of the jig and of what measures and joins there: of others, or wired otherwise, a null says nothing. */
export function jigHash({ jig, roles, instruments }: BenchFile): string {
  const identity = (role: RoleName): string | null => {
    const target = roles[role]
    const name = typeof target === 'object' ? target.instrument : target
    return name === undefined ? null : instruments[name]?.identity ?? null
  }
  const those = [jig ?? null, identity('bridge'), identity('ohm-meter'), identity('jig')]
  return createHash('sha256').update(JSON.stringify(those)).digest('hex').slice(0, 16)
}

/** The newest on record of this jig, whatever its age, within the last hundred sessions. */
export async function lastNulls(store: Store, of: string): Promise<Nulls | null> {
  let left = sessionsMost
  const isOne = ({ sequence }: RunHead): boolean => sequence === screenSequence && left-- > 0
  for await (const { id, setup } of runsBack(store, isOne)) {
    const request = setup['request'] as { compensate?: unknown } | undefined
    const nulls = request?.compensate === true ? nullsOf(id, await store.events(id), of) : null
    if (nulls) return nulls
  }
  return null
}

/** Pure. Null unless the session came to the end of it; rows that cannot be read are passed over. */
export function nullsOf(run: string, events: readonly RunEvent[], of: string): Nulls | null {
  const last = events.findLast(({ kind, data }) => kind === compensatedEvent && data?.['of'] === of)
  if (!last) return null
  const rows = events.flatMap(({ kind, data }) => {
    const parsed = kind === nullEvent ? nullRow.safeParse(data) : undefined
    return parsed?.success === true && parsed.data.of === of ? [parsed.data] : []
  })
  return rows.length === 0 ? null : { run, wallMs: last.wallMs, rows }
}

/** By the bench's wall clock. What was found later than now is of unknown age. */
export const isFresh = ({ wallMs }: Nulls, nowWallMs: number): boolean =>
  nowWallMs >= wallMs && nowWallMs - wallMs <= freshMs

const byFactor = (off: number): string => `, ${off.toFixed(1)} standard uncertainties`

/** How a session comes by what the jig adds. */
export interface NullsPlan {
  readonly of: string
  /** The newest on record, whatever its age. */
  readonly last: Nulls | null
  /** It is found anew. */
  readonly isMade: boolean
  /** It is taken over from here. */
  readonly used: Nulls | null
  readonly zeros: readonly ZeroName[]
}

/** Rejects REFUSED where it is to be found and nothing that could find it reaches the jig. */
export async function planNulls(
  store: Store, file: BenchFile, reach: BenchJig['reach'], isMade: boolean, nowWallMs: number,
): Promise<NullsPlan> {
  const of = jigHash(file)
  const asked = isMade ? zerosFor(reach) : null
  const last = await lastNulls(store, of)
  const used = !isMade && last && isFresh(last, nowWallMs) ? last : null
  const isSeen = reach.bridge !== null && used?.rows.some(({ openU }) => openU !== null) === true
  return { of, last, isMade, used, zeros: asked ?? (isSeen ? ['empty jig'] : []) }
}

export const compensatedIn = ({ used }: NullsPlan): CompensatedBy | null =>
  used && { run: used.run, wallMs: used.wallMs }

export interface CompensationDeps {
  readonly plan: NullsPlan
  readonly jig: BenchJig
  readonly run: string
  readonly parts: readonly ToProve[]
  wallMs(): number
  /** Resolves when it is durable. */
  note(event: Pick<RunEvent, 'kind' | 'severity' | 'text' | 'data'>): Promise<void>
  /** It goes on as it should. */
  turned(): void
}

type Zeroed = { ok: boolean; says: string; warns?: boolean }

export class Compensation {
  readonly #d: CompensationDeps
  #open: OpenRead = new Map()

  constructor(deps: CompensationDeps) {
    this.#d = deps
    const { plan: { zeros, used }, jig } = deps
    if (zeros.length === 0) jig.residuals = residualsOf(used)
  }

  /** `says`: one sentence. What was found is on record before it is told, and holds from then on. */
  async zero(what: ZeroName): Promise<Zeroed> {
    const { plan, jig, parts, turned } = this.#d
    const { used } = plan
    if (used) return await this.#compare(used)
    const frequenciesHz = nullFrequencies(parts, jig.reach)
    if (what === 'empty jig') {
      const open = await readOpen(jig, frequenciesHz, turned)
      if ('wrong' in open) return { ok: false, says: open.wrong }
      this.#open = open
      return { ok: true, says: 'the empty jig was read' }
    }
    const short = await readShort(jig, frequenciesHz, turned)
    if ('wrong' in short) return { ok: false, says: short.wrong }
    return await this.#keep(nullRows(plan.of, this.#open, short))
  }

  async #keep(rows: readonly NullRow[]): Promise<Zeroed> {
    const { plan: { of, last }, note, run, jig } = this.#d
    for (const row of rows) {
      const at = row.frequencyHz === 0 ? 'to two wires' : `at ${formatSi(row.frequencyHz, 'Hz')}`
      const text = `the jig adds ${at}: ${nullsInWords([row])}`
      await note({ kind: nullEvent, severity: 'info', text, data: row })
    }
    const drift = last && driftOf(last.rows, rows)
    const moved = last && drift ? `; ${drift.says} from what it did ${this.#ago(last)}` : ''
    const since = last && drift?.isDrifted
      ? `${byFactor(drift.off)}: what was measured since run ${last.run} may be off` : ''
    const says = `compensated: ${nullsInWords(rows)}${moved}${since}`
    const severity = since === '' ? 'info' : 'warning'
    await note({ kind: compensatedEvent, severity, text: says, data: { of, rows: rows.length } })
    jig.residuals = residualsOf({ run, wallMs: this.#d.wallMs(), rows })
    return { ok: true, says, warns: since !== '' }
  }

  /** Where the empty jig has moved, all that was found is in doubt. */
  async #compare(used: Nulls): Promise<Zeroed> {
    const { jig, note, turned } = this.#d
    const seen = used.rows.filter(({ openU }) => openU !== null).map(({ frequencyHz }) => frequencyHz)
    const open = await readOpen(jig, seen, turned)
    if ('wrong' in open) return { ok: false, says: open.wrong }
    const drift = emptyDrift(used.rows, open)
    // A lead that has come off reads nothing.
    const isOff = drift === null || drift.isDrifted
    const compared = drift === null ? 'nothing is seen of the empty jig any more'
      : `${drift.says} from what it did ${this.#ago(used)}`
    const says = isOff
      ? `${compared}${drift ? byFactor(drift.off) : ''}: the compensation of run ${used.run} is not used. `
        + 'Compensate anew'
      : `compensated by run ${used.run}: ${compared}`
    await note({
      kind: driftEvent, severity: isOff ? 'warning' : 'info', text: says,
      data: { run: used.run, off: drift?.off ?? null, isUsed: !isOff },
    })
    jig.residuals = residualsOf(isOff ? null : used)
    return { ok: true, says, warns: isOff }
  }

  #ago({ wallMs }: Nulls): string { return `${ageInWords(Math.max(0, this.#d.wallMs() - wallMs))} ago` }
}
