/** The result of a study of the gauge for a screen. */
import { formatSi } from '../base/format.ts'
import { percent, rangeOf } from '../report/gauge-words.ts'
import type { Found, GaugeAnswer } from '../schema/gauge.ts'
import { printable, renderTable } from './table.ts'

export function gaugeLines(of: GaugeAnswer): string[] {
  const { quantity, unit, people, parts, trials, confidence, tolerance, interaction, says } = of
  const spread = (name: string, found: Found, show: (value: number | null) => string): string[] =>
    [name, show(found.value), rangeOf(found, show)]
  const si = (value: number | null): string => formatSi(value, unit, 3)
  const times = (value: number | null): string => value === null ? '–' : value.toFixed(1)
  return [
    `${quantity}: ${parts.length} parts, ${people.length} people, ${trials} trials each; `
      + `analysis of variance, interaction ${interaction.pooled ? 'not significant, pooled' : 'significant'} `
      + `(p ${interaction.p.toFixed(3)})`,
    ...renderTable([
      { heading: 'spread' }, { heading: 'standard deviation', right: true },
      { heading: `interval at ${Number((100 * confidence).toPrecision(4))} %` },
    ], [
      spread('repeatability', of.repeatability, si), spread('reproducibility', of.reproducibility, si),
      spread('gauge, both', of.gauge, si), spread('parts', of.partToPart, si),
      spread('all readings', of.total, si),
    ]),
    `  share of the tolerance${tolerance === null ? ', which has not two limits: –'
      : ` of ${formatSi(tolerance, unit, 3)}: ${percent(of.shareOfTolerance.value)} `
        + `(${rangeOf(of.shareOfTolerance, percent)})`}`,
    `  share of all readings: ${percent(of.shareOfTotal.value)} (${rangeOf(of.shareOfTotal, percent)})`,
    `  distinct categories: ${times(of.distinct.value)} (${rangeOf(of.distinct, times)})`,
    ...renderTable(
      [{ heading: 'person' }, { heading: 'mean', right: true }, { heading: 'own spread', right: true }],
      people.map(({ person, mean, s }) => [person, formatSi(mean, unit, 5), formatSi(s, unit, 2)])),
    ...says.map(line => `  - ${line}`),
  ].map(printable)
}
