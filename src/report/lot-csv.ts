/** The sheet of a lot as a table: one row a quantity, then one a reading of a check standard. SI units. */
import type { LotSheet } from '../schema/lot-sheet.ts'
import { csvLine, type Cell } from './csv.ts'

const headings = [
  'row', 'runs', 'kind', 'quantity', 'unit', 'parts', 'mean', 's', 'median', 'robust_s', 'least', 'most',
  'limit_low', 'limit_high', 'limit_source', 'within', 'within_low', 'within_high', 'cp', 'cpk', 'cpk_low',
  'cpk_high',
  'grubbs_part', 'grubbs_g', 'grubbs_critical', 'grubbs_outlier', 'far_parts', 'control_lower',
  'control_centre',
  'control_upper', 'control_outside', 'median_expanded_uncertainty',
  'standard', 'read_utc', 'value', 'u', 'certified', 'certified_u', 'uncertainties_off', 'in_control', 'rule',
]
const standardAt = headings.indexOf('standard')

export function lotCsv(sheet: LotSheet): string {
  const runs = sheet.runs.map(({ id }) => id).join(' ')
  const { yield: whole } = sheet
  return [
    csvLine(headings),
    row([
      'lot', runs, null, 'accepted', null, sheet.parts, ...nulls(9), whole?.share, whole?.low, whole?.high,
    ]),
    ...sheet.quantities.map(of => row([
      'quantity', runs, of.kind, of.quantity, of.unit, of.n, of.mean, of.s, of.median, of.robustS, of.least,
      of.most, of.limitLow, of.limitHigh, of.source, of.within?.share, of.within?.low, of.within?.high,
      of.capability?.cp, of.capability?.cpk, of.capability?.cpkLow, of.capability?.cpkHigh,
      of.grubbs?.label, of.grubbs?.g, of.grubbs?.critical, of.grubbs && String(of.grubbs.outlier),
      of.far.join(' '), of.individuals?.lower, of.individuals?.centre, of.individuals?.upper,
      of.individuals?.outside.map(i => of.labels[i]!).join(' '), of.expandedU,
    ])),
    ...sheet.standards.flatMap(({ standard, quantity, unit, certified, certifiedU, readings }) =>
      readings.map(({ run, wallMs, value, u, off, inControl, rule }) => row([
        'standard', run, null, quantity, unit, ...nulls(standardAt - 5), standard,
        new Date(wallMs).toISOString(), value, u, certified, certifiedU, off, String(inControl), rule,
      ]))),
  ].join('')
}

const row = (cells: readonly Cell[]): string => csvLine([...cells, ...nulls(headings.length - cells.length)])
const nulls = (count: number): null[] => Array.from({ length: count }, () => null)
