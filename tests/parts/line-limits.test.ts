/** Limits of transistors in parts lists: what stands where, and what is told with line and column. */
import { describe, expect, it } from 'vitest'
import { readPartsText } from '../../src/cli/parts-file.ts'
import { partsList, type PartsLine } from '../../src/schema/parts-list.ts'
import { describeProblem } from '../../src/schema/read-file.ts'

const head = 'ref,kind,value,rating,note'
const read = (...lines: string[]) => {
  const result = readPartsText('list.csv', [head, ...lines].join('\n'))
  expect(partsList.parse(result.list)).toEqual(result.list)
  return result
}
const good = (...lines: string[]): PartsLine[] => {
  const { list, problems } = read(...lines)
  expect(problems.map(describeProblem)).toEqual([])
  return list.parts
}
const told = (...lines: string[]): string[] => read(...lines).problems.map(describeProblem)

describe('a transistor of a list', () => {
  it('has the limits that stand in its value, rating or note', () => {
    const [q1, q2, q3, q4, q5] = good(
      'Q1,npn,BC109 hFE 200-450,,', 'Q2,pnp,AC128,hFE >= 60,', 'Q3,npn,BC107,,"input, hFE 110-220 @ 2 mA, 5 V; selected"',
      'Q4,n-channel jfet,2N3819,,"IDSS 2-6 mA, VGS(off) -1..-4 V"', 'Q5,p-channel mosfet,VP0104,,Vth -2..-4 V')
    expect(q1!.limits).toEqual([{ of: 'gain', low: 200, high: 450 }])
    expect(q1!.valueText).toBe('BC109 hFE 200-450')
    expect(q2!.limits).toEqual([{ of: 'gain', low: 60 }])
    expect(q3).toMatchObject({ limits: [{ of: 'gain', low: 110, high: 220, currentA: 2e-3, voltageV: 5 }], note: 'input, hFE 110-220 @ 2 mA, 5 V; selected' })
    expect(q4!.limits).toEqual([{ of: 'drain current', low: 2e-3, high: 6e-3 }, { of: 'cut-off voltage', low: 1, high: 4 }])
    expect(q5!.limits).toEqual([{ of: 'threshold voltage', low: 2, high: 4 }])
  })

  it('has none where the list states none, and of other parts such words are none of ours', () => {
    for (const part of good('Q1,npn,BC109,45 V,first stage', 'R1,resistor,4k7 5 %,,sets hFE 110', 'D1,diode,x,,Vth 2 V')) expect(part).not.toHaveProperty('limits')
  })

  it('has none that its kind cannot have, wherever the request comes from', () => {
    const [q1] = good('Q1,npn,x,,hFE 110-220')
    const asked = (over: Partial<PartsLine>) => partsList.safeParse({ parts: [{ ...q1!, ...over }], remarks: [] })
    expect(asked({}).success).toBe(true)
    for (const kind of ['resistor', 'jfet-n', null] as const) expect(asked({ kind }).error?.issues[0]).toMatchObject({ path: ['parts', 0, 'limits'] })
    expect(asked({ limits: [{ of: 'gain', low: 220, high: 110 }] }).success).toBe(false)
    expect(asked({ limits: [{ of: 'gain' }] }).success).toBe(false)
  })

  it('keeps the rating that stands beside them', () => {
    const [q1, q2, q3, q4] = good('Q1,npn,x,"45 V, hFE 110-220",', 'Q2,npn,x,hFE 110-220; 45 V,', 'Q3,npn,x,"TO-18, hFE 110-220",', 'Q4,npn,x,hFE 110-220,')
    expect([q1!, q2!].map(({ ratedV, ratingText }) => [ratedV, ratingText])).toEqual([[45, ''], [45, '']])
    expect([q3!, q4!].map(({ ratedV, ratingText }) => [ratedV, ratingText])).toEqual([[null, 'TO-18'], [null, '']])
    for (const part of [q1!, q2!, q3!, q4!]) expect(part.limits).toEqual([{ of: 'gain', low: 110, high: 220 }])
  })

  it('says where what cannot be read stands, all at once', () => {
    expect(told('Q1,npn,BC109 hFE 110,,', 'Q2,npn,x,hEF 110-220,', 'Q3,npn,x,,input; IDSS 2-6 mA', 'Q4,n-channel jfet,x,,IDSS 2-6')).toEqual([
      '2:18 value: expected limits like hFE 110-220 or hFE >= 40, got "110"',
      '3:10 rating: expected a limit: did you mean hFE?, got "hEF"',
      '4:18 note: expected what is stated of an npn: hFE, got "IDSS 2-6 mA"',
      '5:27 note: expected limits like IDSS 2-6 mA, got "2-6"',
    ])
  })

  it('is told where a sign is not that of its sort', () => {
    expect(told('Q1,n-channel jfet,x,,VGS(off) 1-4 V', 'Q2,p-channel jfet,x,,VGS(off) 1..4 V', 'Q3,n-channel mosfet,x,,Vth 2-4 V', 'Q4,p-channel jfet,x,,IDSS -2..-6 mA')).toEqual([])
    expect(told('Q1,n-channel jfet,x,,VGS(off) +1..+4 V', 'Q2,p-channel jfet,x,,VGS(off) -1..-4 V', 'Q3,n-channel mosfet,x,,Vth -2..-4 V',
      'Q4,n-channel jfet,x,,IDSS -2..-6 mA', 'Q5,p-channel mosfet,x,,Vth +2..+4 V').map(text => text.replace(/^\S+ note: /, ''))).toEqual([
      'expected VGS(off) of a jfet-n below 0, or without a sign, got "VGS(off) +1..+4 V"', 'expected VGS(off) of a jfet-p above 0, or without a sign, got "VGS(off) -1..-4 V"',
      'expected Vth of a mosfet-n above 0, or without a sign, got "Vth -2..-4 V"', 'expected IDSS of a jfet-n above 0, or without a sign, got "IDSS -2..-6 mA"',
      'expected Vth of a mosfet-p below 0, or without a sign, got "Vth +2..+4 V"',
    ])
  })

  it('may say the same twice, and not two things', () => {
    expect(good('Q1,npn,x hFE 110-220,hFE 110..220,')[0]!.limits).toEqual([{ of: 'gain', low: 110, high: 220 }])
    expect(told('Q1,npn,x hFE 110-220,,hFE 200-450')).toEqual([
      '2:23 note: expected the same as elsewhere in the line: gain 110 to 220, got "hFE 200-450"',
    ])
  })

  it('is remarked on where a symbol stands without limits', () => {
    const { list, problems } = read('Q1,npn,x,,matched for hFE')
    expect(problems).toEqual([])
    expect(list.remarks).toContainEqual({ lines: [2], text: 'hFE stands there without limits, so none is taken from it' })
    expect(list.parts[0]).not.toHaveProperty('limits')
  })
})
