/** Claims as printed, each against what was measured; every figure once, with its conditions. */
import { formatProbability, noNumber } from '../base/format.ts'
import { conditionWords, subjectWords } from '../claims/words.ts'
import type { Conditions } from '../schema/figure.ts'
import { html, type Content, type Markup } from './markup.ts'
import type { UnitRecord, UnitRecordClaim, UnitRecordFigure } from './unit-record-schema.ts'
import { figureWords, marginWords, number, table, tight } from './unit-record-tables.ts'

const endLook: Readonly<Record<UnitRecordClaim['end'], string>> =
  { met: 'accept', 'not met': 'reject', 'cannot be told': 'cannot', 'not measured': 'cannot' }

export function claimsSection(record: UnitRecord): Markup {
  const { claims, figures, provenBy, coverageFactor } = record
  if (claims.length === 0) return html`<p>Nothing is claimed of it in its profile.</p>`
  return html`${provenBy === null && html`<p>No run measured any of these figures yet.</p>`}
${table('Each claim in its words, against the worst of the figures that answer it', [
    'Claim', tight('Verdict'),
    number('Measured ± expanded uncertainty'), number('Margin'),
    number('Holds, probably'), 'Measured under', 'Figures',
  ], claims.map(claim => claimCells(claim, figures)), 'claims')}
<p class="key">Expanded uncertainties have k = ${coverageFactor}, about 95 %. The margin is to the nearest
bound of the claim, below 0 where the figure is past it; of shares in percentage points. “Holds,
probably” is the probability that the true figures are within the claim.</p>`
}

function claimCells(claim: UnitRecordClaim, all: readonly UnitRecordFigure[]): Content[] {
  const { words, understood, end, reason, margin, pConform } = claim
  const figures = claim.figures.flatMap(id => all.find(figure => figure.id === id) ?? [])
  const [worst] = figures
  return [
    html`${words}${understood !== null && understood !== words
      && html`<small>understood as: ${understood}</small>`}`,
    html`<span class="${endLook[end]}">${end}</span>`,
    worst ? html`${figureWords(worst)}${worst.channel !== null && html`<small>${worst.channel}</small>`}`
      : 'not measured',
    marginWords(margin, worst ?? null), pConform === null ? noNumber : formatProbability(pConform),
    html`${worst && under(worst)}${end !== 'met' && html`<small>${reason}</small>`}`,
    figures.map(({ id }, i) => html`${i > 0 && ', '}<a href="#${id}">${id}</a>`),
  ]
}

/** As they would be printed: a load of 249.87 Ω is 250 Ω. */
const digits = 3
const under = ({ quantity, conditions }: UnitRecordFigure): string => {
  const rounded = Object.entries(conditions).map(([key, value]) =>
    [key, typeof value === 'number' ? Number(value.toPrecision(digits)) : value])
  return conditionWords(quantity, Object.fromEntries(rounded) as Conditions).join(', ') || 'nothing stated'
}

export function figuresSection({ figures, provenBy }: UnitRecord): Markup {
  if (figures.length === 0) {
    return html`<p>${provenBy === null ? 'No figure was measured yet.'
      : 'No figure came of the measuring.'}</p>`
  }
  const notes = [...new Set(figures.flatMap(figure => figure.notes))]
  return html`${table(`All ${figures.length} figures that were measured`, [
    'Figure', 'What', 'Channel',
    number('Value ± expanded uncertainty'), 'Measured under',
    'Notes',
  ], figures.map(figure => [
    html`<span id="${figure.id}">${figure.id}</span>`, subjectWords[figure.quantity],
    figure.channel ?? 'the whole', figureWords(figure), under(figure),
    figure.notes.map(note => notes.indexOf(note) + 1).join(', '),
  ]))}
${notes.length > 0
  && html`<h3>Notes</h3><ol class="notes">${notes.map(note => html`<li>${note}</li>`)}</ol>`}`
}
