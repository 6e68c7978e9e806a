/** What a lot sheet says in words, and its lines for a screen. */
import { formatCount, formatProbability, formatSi, formatWall } from '../base/format.ts'
import type { LotQuantity, LotSheet, StandardSeries } from '../schema/lot-sheet.ts'

const shownMost = 12
export const some = (labels: readonly string[]): string => labels.length <= shownMost ? labels.join(' ')
  : `${labels.slice(0, shownMost).join(' ')} and ${labels.length - shownMost} more`

/** In plain words; a lot of few parts says little, and that is said. */
export function quantityWords(of: Omit<LotQuantity, 'says'>): string[] {
  return [...capabilityWords(of), ...outlierWords(of), ...chartWords(of), ...measurementWords(of)]
}

/** From this on a process is usually called capable (common practice). */
const capableFrom = 1.33
/** Of fewer parts the interval is so wide that it only fills the page. */
const capabilityFrom = 8

function capabilityWords({ capability, n, within }: Omit<LotQuantity, 'says'>): string[] {
  if (!capability) return within === null ? ['it was compared with no limit'] : []
  if (n < capabilityFrom) return []
  const { cpk, cpkLow, cpkHigh } = capability
  const range = `Cpk ${cpk.toFixed(2)} (${cpkLow.toFixed(2)} to ${cpkHigh.toFixed(2)} at 95 %)`
  if (n < 30) return [`${range}: of ${n} parts that says little, and all of it rests on a normal lot`]
  const verdict = cpkLow >= capableFrom ? 'the lot lies well within its limits'
    : cpkHigh < 1 ? 'the lot does not fit its limits' : 'the lot just fits its limits, or just not'
  return [`${range}: ${verdict}, if it is a normal one`]
}

function outlierWords({ grubbs, far, n }: Omit<LotQuantity, 'says'>): string[] {
  const words: string[] = []
  if (grubbs?.outlier) {
    words.push(`${grubbs.label} is an outlier by Grubbs' test (${grubbs.g.toFixed(2)} standard deviations `
      + `off, ${grubbs.critical.toFixed(2)} is the bound for ${n}): look for its cause before it is left out`)
  }
  if (far.length > 0) words.push(`far from the rest: ${some(far)}`)
  return words
}

/** Runs that are too long or points outside say that something moved while the lot was measured. */
function chartWords({ individuals, movingRange, labels }: Omit<LotQuantity, 'says'>): string[] {
  if (!individuals || !movingRange || labels.length < 8) return []
  const out = individuals.outside.map(i => labels[i]!)
  if (out.length === 0) return ['the control chart of single values shows nothing moving']
  const expected = 0.0027 * labels.length
  const chance = out.length <= Math.max(1, 2 * expected) ? ', as many as chance gives' : ''
  return [`outside the control limits: ${some(out)}${chance}`]
}

function measurementWords({ s, expandedU, unit }: Omit<LotQuantity, 'says'>): string[] {
  return s !== null && expandedU !== null && expandedU > 2 * s && s > 0
    ? [`the parts are spread by less than a reading is sure of (± ${formatSi(expandedU, unit, 2)}): `
        + 'what is seen may be the measurement alone'] : []
}

export const gradeWords = ({ grades }: LotSheet): string => Object.entries(grades)
  .filter(([, count]) => count > 0).map(([grade, count]) => `${count} ${grade}`).join(', ')

export const yieldWords = ({ yield: whole }: Pick<LotSheet, 'yield'>): string => whole === null ? '–'
  : `${formatProbability(whole.share)} accepted (${formatProbability(whole.low)} to `
    + `${formatProbability(whole.high)} at 95 %)`

export const titleOf = ({ quantity, kind }: Pick<LotQuantity, 'quantity' | 'kind'>): string =>
  kind === null ? quantity : `${quantity} of ${kind}`

export function limitWords({ limitLow, limitHigh, unit }: LotQuantity): string {
  if (limitLow !== null && limitHigh !== null) {
    return `${formatSi(limitLow, unit, 4)} to ${formatSi(limitHigh, unit, 4)}`
  }
  if (limitLow !== null) return `at least ${formatSi(limitLow, unit, 4)}`
  return limitHigh === null ? 'no limit' : `at most ${formatSi(limitHigh, unit, 4)}`
}

/** A sample says something of its lot, and nothing of any part that was not measured. */
export const sampleNotes = ({ runs }: Pick<LotSheet, 'runs'>): string[] => runs.flatMap(({ id, sample }) =>
  sample === null || sample.n === sample.lotSize ? []
    : [`${id} drew a sample of ${sample.n} of ${sample.lotSize} parts: the others have no grade`])

/** Cells for a table on a screen: of, found, which says; what does not exist is a dash. */
export function lotLines(sheet: LotSheet): string[][] {
  return [
    [
      formatCount(sheet.parts, 'part'),
      sheet.parts === 0 ? 'none measured' : gradeWords(sheet),
      [yieldWords(sheet), ...sampleNotes(sheet)].join('; '),
    ],
    ...sheet.quantities.map(of => [
      `${titleOf(of)}, ${of.n}`,
      `mean ${formatSi(of.mean, of.unit, 4)}, s ${formatSi(of.s, of.unit, 2)}, ${limitWords(of)}`,
      of.says.join('; '),
    ]),
    ...sheet.standards.map(of => [`standard ${of.standard}`, standardWords(of), of.says.join('; ')]),
  ]
}

export function standardWords({ readings, certified, certifiedU, unit }: StandardSeries): string {
  const last = readings.at(-1)!
  return `${formatSi(last.value, unit, 6)} on ${formatWall(last.wallMs)}, certified `
    + `${formatSi(certified, unit, 6)} ± ${formatSi(2 * certifiedU, unit, 2)} (k = 2)`
}

const barMost = 40

/** Histogram for a screen: a line a bin, with signs that say where the limits lie. */
export function histogramLines({ bins, unit, limitLow, limitHigh }: LotQuantity): string[] {
  const most = Math.max(...bins.map(({ count }) => count))
  return bins.map(({ lower, upper, count }) => {
    const marks = [limitLow, limitHigh].some(limit => limit !== null && limit >= lower && limit < upper)
      ? ' <- limit' : ''
    const bar = '#'.repeat(count === 0 ? 0 : Math.max(1, Math.round(barMost * count / most)))
    return `${formatSi(lower, unit, 5).padStart(12)}  ${String(count).padStart(6)}  ${bar}${marks}`
  })
}
