import { afterAll, describe, expect, test } from 'vitest'
import { fitLinear, polynomialColumns } from '../../src/analysis/linear-fit.ts'
import { digits, fewestDigits, readLinear } from './nist-strd.ts'

/** Digits to hold: coefficients, standard errors (absolute where certified 0), residual sd, R². */
type Row = [name: string, degree: number | 'multiple', intercept: boolean, b: number, se: number, s: number]
const sets: Row[] = [
  ['Norris', 1, true, 12, 12, 12],
  ['NoInt1', 1, false, 13, 13, 13],
  ['NoInt2', 1, false, 13, 13, 13],
  ['Pontius', 2, true, 11, 11, 11],
  ['Longley', 'multiple', true, 12, 12, 12],
  ['Wampler1', 5, true, 14, 14, 14],
  ['Wampler2', 5, true, 12, 13, 13],
  // residuals 1e3 and 1e5 times the coefficients: what is lost is still 1e-12 of the standard error
  ['Wampler3', 5, true, 9, 12, 14],
  ['Wampler4', 5, true, 7, 12, 14],
]

function fitSet(name: string, degree: number | 'multiple', intercept: boolean) {
  const set = readLinear(name)
  const x = set.rows.map(row => row[1]!)
  const columns = degree === 'multiple'
    ? set.rows[0]!.slice(1).map((_, j) => set.rows.map(row => row[j + 1]!)) : polynomialColumns(x, degree)
  const fit = fitLinear({ columns, y: set.rows.map(row => row[0]!), intercept })
  if (!fit.ok) throw new Error(fit.reason)
  return { set, fit }
}

const table: string[] = []
afterAll(() => console.log(`digits reached\n${table.join('\n')}`))

describe('NIST StRD linear sets (certified values in the file headers, read)', () => {
  test.each(sets)('%s reaches its digits', (name, degree, intercept, dB, dSe, dS) => {
    const { set, fit } = fitSet(name, degree, intercept)
    const b = fewestDigits(fit.coefficients, set.b)
    const se = fewestDigits(fit.standardErrors, set.seB)
    const s = digits(fit.residualSd, set.residualSd)
    table.push(`${name.padEnd(10)} b ${b.toFixed(1)}  se ${se.toFixed(1)}  s ${s.toFixed(1)}`)
    expect(b).toBeGreaterThanOrEqual(dB)
    expect(se).toBeGreaterThanOrEqual(dSe)
    expect(s).toBeGreaterThanOrEqual(dS)
    expect(fit.rSquared).toBeCloseTo(set.rSquared, 12)
    expect(fit.dof).toBe(set.rows.length - set.b.length)
  })
})
