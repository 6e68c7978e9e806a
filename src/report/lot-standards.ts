/** Check standards over sessions: every reading that is on record, and what their course says. Pure. */
import { baseline, checkStep, firstCheckState, type CheckState } from '../analysis/lots/check-standard.ts'
import { formatCount, formatSi } from '../base/format.ts'
import type { StandardSeries } from '../schema/lot-sheet.ts'
import type { RunEvent } from '../schema/run.ts'

export interface RunEvents { readonly run: string; readonly events: readonly RunEvent[] }

/** So many readings make a history (`analysis/lots/check-standard.ts`). */
const historyFrom = 8
type Reading = StandardSeries['readings'][number]
type Read = Omit<Reading, 'rule'>
  & Pick<StandardSeries, 'standard' | 'quantity' | 'unit' | 'certified' | 'certifiedU'>

/** By standard and certificate: one that was certified anew begins anew. Oldest reading first. */
export function standardSeriesOf(runs: readonly RunEvents[]): StandardSeries[] {
  const read = runs.flatMap(({ run, events }) => events.flatMap(event => readingOf(run, event)))
    .sort((a, b) => a.wallMs - b.wallMs)
  const by = new Map<string, Read[]>()
  for (const one of read) {
    const key = [one.standard, one.quantity, one.certified, one.certifiedU].join('|')
    const those = by.get(key)
    if (those) those.push(one)
    else by.set(key, [one])
  }
  return [...by.values()].map(seriesOf)
}

/** Nothing of an event that carries no value: nothing was read, or an earlier version wrote it. */
function readingOf(run: string, { kind, wallMs, data }: RunEvent): Read[] {
  if (kind !== 'standard' || !data) return []
  const { standard, quantity, value, u, certified, certifiedU, inControl } = data
  const numbers = [value, u, certified, certifiedU]
  if (typeof standard !== 'string' || typeof quantity !== 'string') return []
  if (!numbers.every(Number.isFinite)) return []
  const [v, uv, c, uc] = numbers as [number, number, number, number]
  return [{
    run, wallMs, standard, quantity, unit: quantity === 'capacitance' ? 'F' : 'Ω', value: v, u: uv,
    certified: c, certifiedU: uc, off: (v - c) / Math.hypot(uv, uc), inControl: inControl === true,
  }]
}

function seriesOf(read: readonly Read[]): StandardSeries {
  const { standard, quantity, unit, certified, certifiedU } = read[0]!
  const values = read.map(({ value }) => value)
  const first = values.slice(0, historyFrom)
  const steady = values.length > historyFrom && first.some(value => value !== first[0])
  const known = steady ? baseline(first) : null
  const rules = known ? rulesOf(values, known) : []
  const readings = read.map(({ run, wallMs, value, u, off, inControl }, i) =>
    ({ run, wallMs, value, u, off, inControl, rule: rules[i] ?? null }))
  const series = {
    standard, quantity, unit, certified, certifiedU, readings,
    history: known && { target: known.target, sd: known.sd, readings: first.length },
  }
  return { ...series, says: saysOf(series) }
}

/** Which rule each later reading breaks, each judged as if what was out before it had been mended. */
function rulesOf(values: readonly number[], known: ReturnType<typeof baseline>): (string | null)[] {
  const inControl: CheckState = { ...firstCheckState, status: 'in control' }
  let state = inControl
  return values.map((value, i) => {
    if (i < historyFrom) return null
    state = checkStep(known, state, { kind: 'reading', value })
    const { rule } = state
    if (rule !== undefined) state = inControl
    return rule ?? null
  })
}

function saysOf({ certified, unit, readings, history }: Omit<StandardSeries, 'says'>): string[] {
  const out = readings.filter(({ inControl }) => !inControl)
  const sessions = new Set(readings.map(({ run }) => run)).size
  const says = [`${readings.length} readings in ${formatCount(sessions, 'session')}, `
    + `${out.length === 0 ? 'all' : `${readings.length - out.length}`} in control by the certificate`]
  if (!history) return [...says, 'no history yet: that takes more than eight readings that differ']
  const moved = (history.target - certified) / certified
  const broken = readings.filter(({ rule }) => rule !== null)
  says.push(`its first eight read ${formatSi(history.target, unit, 6)}, ${(1e6 * moved).toFixed(0)} ppm from `
    + `the certificate, with a standard deviation of ${formatSi(history.sd, unit, 2)}`)
  says.push(broken.length === 0 ? 'by its own history nothing has moved since'
    : `by its own history ${broken.length} of the later ones are unlike the first: ${broken.at(-1)!.rule}`)
  return says
}
