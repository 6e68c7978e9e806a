import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { readPartsText } from '../../src/cli/parts-file.ts'
import { partsList, type PartsLine } from '../../src/schema/parts-list.ts'
import { describeProblem } from '../../src/schema/read-file.ts'

const read = (text: string, name = 'list.csv') => {
  const result = readPartsText(name, text)
  expect(partsList.parse(result.list)).toEqual(result.list)
  return result
}
const good = (text: string, name?: string): PartsLine[] => {
  const { list, problems } = read(text, name)
  expect(problems.map(describeProblem)).toEqual([])
  return list.parts
}
const told = (text: string, name?: string): string[] => read(text, name).problems.map(describeProblem)
const remarks = (text: string): string[] => read(text).list.remarks.map(({ lines, text: said }) => `${lines.join(' ')}: ${said}`)

describe('a parts list', () => {
  it('is read with headings in any order and by their usual names', () => {
    const wanted = {
      designators: ['C1', 'C2'], quantity: 2, kind: 'capacitor', kindFrom: 'list', dielectrics: ['film'], valueText: '100n',
      value: { quantity: 'capacitance', si: 1e-7, unit: 'F' }, toleranceMinus: 0.05, tolerancePlus: 0.05, ratedV: 63, note: 'tone',
    }
    for (const [name, text] of [
      ['a.csv', 'designator,quantity,value,tolerance,voltage,kind,dielectric,note\nC1 C2,2,100n,5 %,63 V,capacitor,film,tone\n'],
      ['b.csv', '\ufeffDescription;Dielectric;Type;Volts;Tol.;Val;Qty;Ref(s)\r\ntone;polyester;CAP;63;J;100n;2;C1-C2\r\n'.replace('Ref(s)', 'References')],
      ['c.tsv', 'Ref\tQty\tValue\tType\tNotes\nC1, C2\t2\t100n/63V 5%\tfilm capacitor\ttone\n'.replace('100n/63V 5%', '"100n 63V 5%"')],
      ['d.txt', 'Ref\tValue\tKind\tNote\nC1 C2\t100n 63 V ±5 % polyester\tcapacitor\ttone\n'],
    ] as const) {
      const { valueText, ...part } = good(text.replace('Tol.', 'Tol'), name)[0]!
      const { valueText: plain, ...rest } = wanted
      expect(part, name).toMatchObject(rest)
      expect(valueText.startsWith(plain)).toBe(true)
    }
  })

  it('proposes the kind by the letter, and says so', () => {
    const text = 'ref,value\nR1,4k7\nC1,100n\nL1,10uH\nD1,x\nF1,y\nT1,z\nCR2,x\nSW1,\n'
    expect(good(text).map(({ kind, kindFrom }) => [kind, kindFrom])).toEqual([
      'resistor', 'capacitor', 'inductor', 'diode', 'fuse', 'transformer', 'diode', 'switch',
    ].map(kind => [kind, 'letter']))
    expect(remarks(text)).toContain('2: taken for resistor by the letter R')
  })

  it('asks for the kind where the letter leaves it open or says nothing', () => {
    expect(told('ref,value\nQ1,BC107\nX1,foo\nRV1,10k\n')).toEqual([
      '2:1 kind: expected a kind of part: npn, pnp, jfet-n, jfet-p, mosfet-n, mosfet-p, mosfet-n-depletion, mosfet-p-depletion, got nothing beside the letter Q',
      '3:1 kind: expected a kind of part, got nothing beside the letter X',
      '4:1 kind: expected a kind of part: potentiometer, varistor, got nothing beside the letter RV',
    ])
  })

  it.each([
    ['electrolytic capacitor', 'capacitor', ['electrolytic']], ['Film Cap', 'capacitor', ['film']], ['ceramic 2', 'capacitor', ['ceramic-2']],
    ['class-x capacitor', 'capacitor', ['class-x']], ['Y2 safety capacitor', 'capacitor', ['class-y']], ['silver mica', 'capacitor', ['mica']], ['paper in oil', null, null],
    ['carbon film resistor', 'resistor', []], ['metal film', 'resistor', []], ['pot', 'potentiometer', []], ['relay contact', 'relay-contact', []],
    ['zener diode', 'zener', []], ['bridge rectifier', 'bridge-rectifier', []], ['rectifier', 'diode', []], ['LED', 'led', []], ['choke', 'inductor', []],
    ['n-channel mosfet', 'mosfet-n', []], ['JFET p', 'jfet-p', []], ['N channel JFET', 'jfet-n', []],
  ])('understands the kind "%s"', (words, kind, dielectric) => {
    const { list, problems } = read(`qty,kind,value\n3,${words},\n`)
    if (kind === null) { expect(problems[0]).toMatchObject({ path: 'kind', got: '"in"' }); return }
    expect(list.parts[0]).toMatchObject({ kind, dielectrics: dielectric })
  })

  it('knows silicon from germanium', () => {
    expect(good('ref,kind,value\nQ1,germanium PNP transistor,AF\nQ2,npn silicon,BC\nD1,germanium diode,OA\n').map(({ kind, material }) => [kind, material]))
      .toEqual([['pnp', 'germanium'], ['npn', 'silicon'], ['diode', 'germanium']])
    expect(good('ref,kind,material,value\nD1,diode,germanium,x\n')[0]!.material).toBe('germanium')
  })

  it.each([
    ['transistor', 'npn or pnp, or a field-effect kind'], ['mosfet', 'mosfet-n or mosfet-p'], ['fet', 'jfet or mosfet, and its channel'],
    ['resistor capacitor', 'one kind, not resistor and capacitor'], ['capcitor', 'a kind of part: did you mean capacitor?'], ['gizmo', 'a kind of part'],
  ])('does not take "%s" for a kind', (words, expected) => {
    const { list, problems } = read(`ref,kind,value\nZ1,${words},\n`)
    expect(problems.filter(({ path }) => path === 'kind')[0]).toMatchObject({ expected, line: 2 })
    expect(list.parts[0]!.kind).toBeNull()
  })

  it('says where the kind and the letter disagree, and takes words that name no kind with the letter', () => {
    expect(remarks('ref,kind,value\nR1,capacitor,100n\n')).toContain('2: a capacitor by the list, though the letter R says otherwise')
    expect(remarks('ref,kind\nR1,ic\n')).toContain('2: an integrated circuit by the list, though the letter R says otherwise')
    expect(good('ref,kind,value\nC1,ceramic,100n\n')[0]).toMatchObject({ kind: 'capacitor', kindFrom: 'letter', dielectrics: [] })
  })

  it('holds the designators against the quantity', () => {
    expect(good('ref,qty,value\nR1-R4,4,4k7\n')[0]!.quantity).toBe(4)
    expect(told('ref,qty,value\nR1-R4,5,4k7\n')).toEqual(['2:7 quantity: expected 4, as there are so many designators, got 5'])
    expect(told('ref,qty,value\nR1,x,4k7\nR2,0,4k7\n')).toEqual([
      '2:4 quantity: expected a whole number from 1 to 100000, got "x"', '3:4 quantity: expected a whole number from 1 to 100000, got "0"',
    ])
    expect(told('ref,qty,value\n,,4k7\n')).toEqual(['2:1 designator: expected designators, or a quantity, got neither'])
    expect(told('ref,value\nR1-R3,4k7\nR2,10k\n')).toEqual(['3:1 designator: expected each designator once, got "R2" again, as in line 2'])
  })

  it('takes the places of mains parts in words', () => {
    const places = ['across the mains', 'Mains to Earth', 'across-mains', 'L-N', 'line to ground', 'live to neutral', 'L-PE', 'output stage']
    expect(good(`ref,value,where\n${places.map((place, i) => `C${i + 1},10n,${place}`).join('\n')}\n`).map(({ where }) => where))
      .toEqual(['across-mains', 'mains-to-earth', 'across-mains', 'across-mains', 'mains-to-earth', 'across-mains', 'mains-to-earth', 'output-stage'])
  })

  it('asks where a capacitor sits whose place has to do with the mains in no known way', () => {
    expect(told('ref,value,kind,where\nC1,10n,film capacitor,mains filter\nF1,x,fuse,mains inlet\nC2,10n,film capacitor,speaker line\n')).toEqual([
      '2:23 where: expected across the mains, mains to earth, or a place that does not name the mains, got "mains filter"',
    ])
  })

  it('reads ratings from columns, with the unit a heading promises', () => {
    const [r, c, x, zener, fuse] = good(['ref,value,tolerance,rating,voltage,power,kind', 'R1,4k7,5,,,0.5,', 'C1,10u,-20/+80%,,25,,electrolytic',
      'C2,100n,,X2 275 V~,,,', 'D1,C9V1,,9.1 V,,,zener', 'F1,slow,,2 A,250,,'].join('\n'))
    expect(r).toMatchObject({ toleranceMinus: 0.05, ratedW: 0.5 })
    expect(c).toMatchObject({ toleranceMinus: 0.2, tolerancePlus: 0.8, ratedV: 25, dielectrics: ['electrolytic'], kind: 'capacitor' })
    expect(x).toMatchObject({ ratedV: 275, ratedForm: 'ac', safetyClasses: ['X2'], dielectrics: ['class-x'] })
    expect(zener).toMatchObject({ ratedV: 9.1, value: null, valueText: 'C9V1' })
    // As people write them: volts in the value column, and a tolerance beside them.
    const [d, z, lamp] = good('ref,value,tolerance,kind\nD1,5V1,5,zener\nD2,12 V,±2.5 %,zener\nD3,ZPD type,B,zener')
    expect(d).toMatchObject({ ratedV: 5.1, toleranceMinus: 0.05, tolerancePlus: 0.05, ratingText: '' })
    expect(z).toMatchObject({ ratedV: 12, toleranceMinus: 0.025, tolerancePlus: 0.025 })
    expect(lamp).toMatchObject({ ratedV: null, toleranceMinus: null, ratingText: 'B' })
    expect(fuse).toMatchObject({ ratedV: 250, ratingText: '2 A' })
  })

  it('keeps the class that the value says beside a dielectric of its own column', () => {
    expect(good('ref,value,dielectric\nC1,100n X2 275V~,film\n')[0]).toMatchObject({ safetyClasses: ['X2'], dielectrics: ['film', 'class-x'] })
  })

  it('tells what contradicts itself in one line', () => {
    expect(told('ref,value,tolerance,voltage,dielectric\nC1,100n 5% 63V polyester,10%,50,paper\n')).toEqual([
      '2:26 tolerance: expected the same as elsewhere in the line, got "10%"', '2:30 voltage: expected the same as elsewhere in the line, got "50"',
      '2:33 dielectric: expected one dielectric, got film and paper',
    ])
  })

  it('tells everything that cannot be read at once, with line and column', () => {
    expect(told('ref,value,tolerance,voltage\nR1,470,,\nR2,4k7 x,5,\nC1,100n,5 %%,63 V\nC2,100n,5,many\nR3,,,\n')).toEqual([
      '2:4 value: expected a value that can be read in one way, not in 2 (470R or 47R), got "470"',
      '3:8 value: expected a tolerance, watts, volts, ppm/K or the end, got "x"',
      '4:9 tolerance: expected a tolerance, volts, a dielectric or the end, got "5 %%"',
      '5:11 voltage: expected a tolerance, volts, a dielectric or the end, got "many"',
      '6:4 value: expected a value of a resistor, got "nothing"',
    ].map(line => line.replace('got "nothing"', 'got nothing')))
  })

  it('asks for sections of one can as lines of their own', () => {
    expect(told('ref,value\nC5,16+16uF 450V\n')).toEqual([
      '2:4 value: expected one value: sections of one can are lines of their own, like C5A and C5B, got "16+16uF 450V"',
    ])
    expect(good('ref,value\nC5A-C5B,16uF 450V\n')[0]).toMatchObject({ designators: ['C5A', 'C5B'], ratedV: 450 })
  })

  it('says where a value is in no series, and where a dielectric is not said', () => {
    expect(remarks('ref,value,kind\nR1,4.6k 5%,resistor\nC1,10n,capacitor\n')).toEqual(['3: capacitors whose dielectric is not said', '2: 4k6 is not in E24; nearest 4k7'])
  })

  it('says which columns it does not use, and refuses what is no list', () => {
    expect(remarks('ref,value,colour,supplier\nR1,4k7,red,x\n')).toContain(': columns that are not used: colour, supplier')
    expect(remarks('reff,qty,value\n,1,4k7\n')).toContain(': columns that are not used: reff (is ref meant?)')
    expect(told('colour,supplier\nred,x\n')).toEqual(['1:1 expected headings, "designator" or "value" among them, got colour, supplier'])
    expect(told('ref,value,designator\nR1,4k7,R2\n')).toEqual(['1:11 expected one column for designator, got "designator" beside "ref"'])
    expect(told('ref,value\nR1,4k7,5 %\n')).toEqual(['2:8 expected 2 cells, got 3, the next is "5 %"'])
    expect(told('ref,value\n')).toEqual(['1:1 expected at least one part, got none'])
    expect(told('ref,value\nR1,"4k7\n').some(line => line.startsWith('2:4 '))).toBe(true)
    expect(told('', 'x.txt')).toEqual(['1:1 expected at least one part, got none'])
  })
})

it('a list that names more parts than any unit has is refused', () => {
  const rows = Array.from({ length: 30 }, (_, i) => `R${i}000-R${i}999,4k7`)
  expect(told(`ref,value\n${rows.join('\n')}\n`)).toEqual(['22:1 expected at most 20000 designators, got more'])
})

describe('bare reels', () => {
  it('are lines with a count and a value', () => {
    const text = '200 x 4k7 5 %\n\n50 × 100n 63V polyester\n30*104K 2A\n'
    expect(good(text, 'reels.txt').map(({ line, quantity, kind, kindFrom, value, toleranceMinus, designators }) => [line, quantity, kind, kindFrom, value!.si, toleranceMinus, designators])).toEqual([
      [1, 200, 'resistor', 'value', 4700, 0.05, []], [3, 50, 'capacitor', 'value', 1e-7, null, []], [4, 30, 'capacitor', 'value', 1e-7, 0.1, []],
    ])
    expect(good('200 x 4k7 5 %', 'reel')).toHaveLength(1)
  })
  it('may stand in a table', () => {
    expect(good('qty,value\n200,4k7 5%\n,30 x 10n\n').map(({ quantity, kind }) => [quantity, kind])).toEqual([[200, 'resistor'], [30, 'capacitor']])
    expect(told('qty,value\n200,30 x 10n\n')).toEqual(['2:1 quantity: expected 30 as the value says, got 200'])
  })
  it('with a count of nothing, or beyond any drawer, are told', () => {
    expect(told('0 x 4k7\n200000 x 10k\n', 'reels.txt')).toEqual([
      '1:1 value: expected a count from 1 to 100000, got "0"', '2:1 value: expected a count from 1 to 100000, got "200000"',
    ])
  })
  it('without a count, or with a value that says no kind, are told', () => {
    expect(told('4k7 5 %\n20 x 104\n', 'reels.txt')).toEqual([
      '1:1 designator: expected designators, or a quantity, got neither',
      '2:6 value: expected the sort of part beside it: it means something else on each (100n or 100 mH), got "104"',
    ])
  })
})

describe('any text', () => {
  const pieces = fc.array(fc.oneof(fc.string({ maxLength: 5 }), fc.constantFrom(
    'ref', 'value', 'qty', 'kind', ',', ';', '\t', '\n', '"', 'R1', 'C1-C4', '4k7', '100n', 'capacitor', '5%', '__proto__', 'constructor', '200 x ')), { maxLength: 40 })
  it('is read or told, never by throwing', () => {
    fc.assert(fc.property(pieces, fc.constantFrom('a.csv', 'a.tsv', 'a.txt'), (list, name) => {
      const { list: { parts }, problems } = read(list.join(''), name)
      expect(parts.length + problems.length).toBeGreaterThan(0)
      for (const part of parts) if (part.designators.length > 0) expect(part.quantity).toBe(part.designators.length)
    }), { numRuns: 1500 })
  })
})
