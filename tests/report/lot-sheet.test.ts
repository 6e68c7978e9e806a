/** The sheet of a lot: what was compared with the same limits stands together, and what stands apart is named. */
import { describe, expect, it } from 'vitest'
import { SeededRandom } from '../../src/base/random.ts'
import { lotCsv } from '../../src/report/lot-csv.ts'
import { lotHtml } from '../../src/report/lot-html.ts'
import { histogramLines, lotLines } from '../../src/report/lot-sheet-words.ts'
import { lotSheet, sheetOfRuns } from '../../src/report/lot-sheet.ts'
import type { LotRun } from '../../src/report/lot-parts.ts'
import { standardSeriesOf } from '../../src/report/lot-standards.ts'
import { lotSheetShape } from '../../src/schema/lot-sheet.ts'
import type { Criterion, PartResult, RunEvent } from '../../src/schema/run.ts'
import { drawSample, uninspected } from '../../src/screening/sample.ts'
import { criterion, line, result, runOf } from './lot-fixture.ts'

const ohms = (value: number, over: Partial<Criterion> = {}): Criterion =>
  criterion(value, { name: 'resistance', unit: 'Ω', expandedU: 0.1, limitLow: 95, limitHigh: 105, ...over })
const part = (position: string, criteria: Criterion[], grade: PartResult['grade'] = 'accept'): PartResult => result(position, criteria, { grade })
const lot = [99.6, 100.1, 100.4, 99.9, 100.2, 99.8, 100.0].map((ohm, i) => part(`R${i}`, [ohms(ohm)]))
const random = new SeededRandom(11)
const reel = Array.from({ length: 200 }, (_, i) => part(`R${i}`, [ohms(100 + 0.5 * random.normal())]))

describe('a lot sheet', () => {
  it('gives yield with an exact interval, spread and capability', () => {
    const { parts, grades, yield: whole, quantities } = lotSheet(lot)
    expect([parts, grades.accept, whole!.share]).toEqual([7, 7, 1])
    // Clopper and Pearson, seven of seven: (0.025)^(1/7).
    expect(whole!.low).toBeCloseTo(0.025 ** (1 / 7), 9)
    const { mean, s, capability, within } = quantities[0]!
    expect([mean, s]).toEqual([expect.closeTo(100, 9), expect.closeTo(0.264575, 6)])
    expect(capability!.cpk).toBeCloseTo(5 / (3 * s!), 9)
    expect([within!.good, within!.n]).toEqual([7, 7])
  })

  it('counts nothing that was found of positions alone', () => {
    const checked = part('P01', [ohms(100)])
    expect(sheetOfRuns([runOf('B1', [{ ...checked, of: 'position' }]), runOf('S1', [part('R1', [ohms(99)])])]))
      .toMatchObject({ parts: 1, grades: { accept: 1 } })
  })

  it('names the part that stands apart, by Grubbs and by the median', () => {
    const [of] = lotSheet([...lot, part('R9', [ohms(104)])]).quantities
    expect(of!.far).toEqual(['R9'])
    expect(of!.grubbs).toMatchObject({ label: 'R9', outlier: true })
    expect(of!.says.join()).toContain('R9 is an outlier by Grubbs\' test')
  })

  it('draws a control chart of single values: a step shows where it came', () => {
    const stepped = reel.map((one, i) => i < 100 ? one : part(one.position, [ohms(one.criteria[0]!.value + 4)]))
    const [of] = lotSheet(stepped).quantities
    expect(of!.individuals!.points).toHaveLength(200)
    expect(of!.movingRange!.outside).toContain(99)
    expect(of!.says.join()).toContain('outside the control limits')
    expect(lotSheet(reel).quantities[0]!.individuals!.outside.length).toBeLessThan(5)
  })

  it('keeps other limits, kinds and quantities apart, and leaves out what is no number', () => {
    const mixed = [...lot, part('R8', [ohms(470, { limitLow: 446, limitHigh: 494 })]), part('C1', [ohms(1e-7, { name: 'capacitance', unit: 'F' })]),
      part('R7', [ohms(NaN)], 'cannot tell')]
    const { quantities, grades } = lotSheet(mixed)
    expect(quantities.map(({ quantity, n }) => [quantity, n])).toEqual([['resistance', 7], ['resistance', 1], ['capacitance', 1]])
    expect(grades['cannot tell']).toBe(1)
    const kinds = [line(['R0', 'R1', 'R2'], 'resistor'), line(['R3', 'R4', 'R5', 'R6'], 'fuse')]
    expect(sheetOfRuns([runOf('A', lot, kinds)]).quantities.map(({ kind, n }) => [kind, n])).toEqual([['fuse', 4], ['resistor', 3]])
    expect(sheetOfRuns([runOf('A', lot, kinds)], { kind: 'fuse' }).parts).toBe(4)
  })

  it('is of the shape that is promised, also as JSON, and of one part or none', () => {
    for (const some of [lot, [], [lot[0]!], [part('R1', [])], Array.from({ length: 5 }, (_, i) => part(`R${i}`, [ohms(100)]))]) {
      expect(() => lotSheetShape.parse(JSON.parse(JSON.stringify(lotSheet(some))))).not.toThrow()
    }
  })

  it('is lines of three cells for a screen, with a histogram of signs', () => {
    expect(lotLines(lotSheet(lot))[0]).toEqual(['7 parts', '7 accept', expect.stringMatching(/^100\.0 % accepted \(59\.0 % to 100\.0 %/)])
    expect(lotLines(lotSheet([]))).toEqual([['0 parts', 'none measured', '–']])
    const [of] = lotSheet(reel).quantities
    const lines = histogramLines(of!)
    expect(lines.reduce((sum, text) => sum + Number(/ (\d+)  #*/.exec(text)?.[1] ?? 0), 0)).toBe(200)
  })

  it('says of a sample that the other parts have no grade', () => {
    const names = Array.from({ length: 60 }, (_, i) => `R${i}`)
    const sample = drawSample(names, { aql: '2.5', level: 'I', source: 'x', steady: true }, uninspected, { seed: 'a', original: true })
    const sheet = sheetOfRuns([runOf('A', lot.slice(0, 5), [], { setup: { sample } })])
    expect(sheet.runs[0]!.sample).toEqual({ n: 5, lotSize: 60 })
    const words = 'A drew a sample of 5 of 60 parts: the others have no grade'
    expect(lotLines(sheet)[0]![2]).toContain(words)
    expect(lotHtml(sheet)).toContain(words)
  })

  it('says of a lot spread by less than a reading is sure of that this may be the measurement', () => {
    expect(lotSheet(reel.map(one => part(one.position, [{ ...one.criteria[0]!, expandedU: 3 }]))).quantities[0]!.says.join())
      .toContain('what is seen may be the measurement alone')
  })
})

const standardEvent = (wallMs: number, value: number, inControl = true): RunEvent => ({
  kind: 'standard', severity: 'info', atMs: 0, wallMs, text: '', data: {
    standard: 'S1', inControl, quantity: 'resistance', certified: 1000, certifiedU: 0.05, value, u: 0.02,
  },
})

describe('check standards over sessions', () => {
  const noise = new SeededRandom(3)
  const read = (count: number, from: number, shift = 0): RunEvent[] =>
    Array.from({ length: count }, (_, i) => standardEvent(from + i, 1000 + shift + 0.01 * noise.normal()))
  it('stand in the order of time, whatever the order of the runs', () => {
    const [series] = standardSeriesOf([{ run: 'B', events: read(3, 100) }, { run: 'A', events: read(3, 0) }])
    expect(series!.readings.map(({ run }) => run).join('')).toBe('AAABBB')
    expect(series!.says[0]).toBe('6 readings in 2 sessions, all in control by the certificate')
    expect(series!.history).toBeNull()
  })
  it('have a history from the ninth reading on, and a drift within the certificate breaks it', () => {
    const [steady] = standardSeriesOf([{ run: 'A', events: read(20, 0) }])
    expect(steady!.says.join()).toContain('nothing has moved since')
    const [drifted] = standardSeriesOf([{ run: 'A', events: [...read(12, 0), ...read(10, 50, 0.06)] }])
    expect(drifted!.readings.every(({ inControl }) => inControl)).toBe(true)
    expect(drifted!.readings.slice(12).some(({ rule }) => rule !== null)).toBe(true)
    expect(drifted!.says.join()).toMatch(/by its own history \d+ of the later ones are unlike the first/)
  })
  it('begin anew with another certificate, and pass over events without a value', () => {
    const other = { ...standardEvent(9, 1000), data: { ...standardEvent(9, 1000).data, certified: 1000.1 } }
    const bare = { ...standardEvent(10, 0), data: { standard: 'S1', inControl: false } }
    expect(standardSeriesOf([{ run: 'A', events: [...read(2, 0), other, bare] }]).map(({ readings }) => readings.length)).toEqual([2, 1])
  })
})

describe('the sheet as a page and as a table', () => {
  const events = [{ run: 'A', events: Array.from({ length: 10 }, (_, i) => standardEvent(i, 1000 + 0.01 * (i % 3), i !== 4)) }]
  const runs: LotRun[] = [runOf('A', [...reel, part('<b>R9', [ohms(140)], 'reject')], [line(['R0'], 'resistor')])]
  const sheet = sheetOfRuns(runs, {}, events)
  it('is one page that needs nothing else, with charts, and lets no name be markup', () => {
    const page = lotHtml(sheet)
    expect(page.match(/<svg /g)!.length).toBeGreaterThanOrEqual(4)
    expect(page).toContain('&lt;b&gt;R9')
    expect(page).not.toContain('<b>R9')
    expect(page).not.toMatch(/<script|https?:\/\//)
    for (const words of ['Lot sheet of run A', '201 parts: 200 accept, 1 reject.', 'Histogram of resistance', 'Standard S1 over its sessions']) {
      expect(page).toContain(words)
    }
    expect(page).not.toMatch(/NaN|undefined|Infinity/)
  })
  it('is a row a quantity and a row a reading of a standard', () => {
    const rows = lotCsv(sheet).trimEnd().split('\r\n').map(row => row.split(','))
    expect(new Set(rows.map(row => row.length)).size).toBe(1)
    const at = (name: string): number => rows[0]!.indexOf(name)
    expect(rows.filter(([row]) => row === 'standard')).toHaveLength(10)
    expect(rows.find(([row]) => row === 'standard')![at('certified')]).toBe('1000')
    expect(rows.find(row => row[0] === 'quantity')![at('grubbs_outlier')]).toBe('true')
  })
})
