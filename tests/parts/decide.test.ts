import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { packageFile } from '../../src/base/paths.ts'
import { readPartsFile, readPartsText } from '../../src/cli/parts-file.ts'
import { decide, type Decision } from '../../src/parts/decide.ts'
import { partsPolicy, policyActions, type PartsPolicy } from '../../src/schema/parts-policy.ts'
import { describeProblem, loadFile, parseText } from '../../src/schema/read-file.ts'

const prove = { action: 'prove', reason: 'every part' } as const
const policyOf = (rules: object[], more: object = {}): PartsPolicy =>
  partsPolicy.parse({ policy: 'p', rules: rules.map((rule, i) => ({ name: `r${i + 1}`, reason: 'because', ...rule })), otherwise: prove, ...more })
const head = 'ref,qty,value,kind,dielectric,where\n'
const decided = (rows: string, rules: object[], more?: object) => {
  const { list, problems } = readPartsText('list.csv', head + rows)
  expect(problems.map(describeProblem)).toEqual([])
  return decide(list.parts, policyOf(rules, more))
}
const of = (rows: string, rules: object[], more?: object): Decision[] => [...decided(rows, rules, more).decisions]
const electrolytics = { match: { kind: 'capacitor', dielectric: 'electrolytic' }, action: 'replace-and-prove-new' }
const across = { match: { where: 'across-mains' }, action: 'require class-x' }
const toEarth = { match: { where: 'mains-to-earth' }, action: 'require class-y' }

describe('a policy', () => {
  it('names for each designator what is to be done and the rule that decided', () => {
    expect(of('C1-C2,,10u 25V,capacitor,electrolytic,\nR1,,4k7,resistor,,\n', [electrolytics])).toMatchObject([
      { designator: 'C1', line: 2, action: 'replace-and-prove-new', rules: ['r1'], reason: 'because' }, { designator: 'C2', action: 'replace-and-prove-new' },
      { designator: 'R1', line: 3, action: 'prove', rules: ['otherwise'], reason: 'every part' },
    ])
  })

  it.each([
    [{ kind: 'resistor' }, ['R1', 'R2']], [{ kind: ['resistor', 'zener'] }, ['R1', 'R2', 'D1']], [{ designators: 'R1, C1-C2' }, ['R1', 'C1', 'C2']],
    [{ dielectric: ['film', 'electrolytic'] }, ['C1', 'C2']], [{ dielectric: 'class-x' }, ['C2']], [{ ratedVMin: 100, kind: 'capacitor' }, ['C1']],
    [{ ratedVMax: 63, kind: 'capacitor' }, ['C2']], [{ kind: 'capacitor', where: 'across-mains' }, ['C2']], [{ material: 'silicon', kind: 'zener' }, ['D1']],
  ])('matches by %o', (match, names) => {
    const rows = 'R1,,4k7,resistor,,\nR2,,10k,resistor,,across the mains\nC1,,10u 350V,capacitor,electrolytic,\nC2,,100n X2 50V,capacitor,film,across the mains\nD1,,5V1,zener,silicon,\n'
    const decisions = of(rows, [{ match, action: 'replace' }])
    expect(decisions.filter(({ action }) => action === 'replace').map(({ designator }) => designator)).toEqual(names)
    expect(decisions.every(({ action }) => action !== null)).toBe(true)
  })

  it('has a part across the mains without its class replaced by one with it, and one to earth likewise', () => {
    const rows = 'C1,,100n 250V~,capacitor,paper,across the mains\nC2,,100n X2,capacitor,film,across the mains\nC3,,4n7 Y2,capacitor,film,across the mains\n'
      + 'C4,,4n7 X2,capacitor,film,mains to earth\nC5,,4n7 X1/Y2,capacitor,film,mains to earth\nC6,,4n7,capacitor,film,\n'
    expect(of(rows, [across, toEarth]).map(({ action, requires, rules }) => [action, requires.join(), rules.join()])).toEqual([
      ['replace', 'class-x', 'r1'], ['prove', '', 'r1,otherwise'], ['replace', 'class-x', 'r1'],
      ['replace', 'class-y', 'r2'], ['prove', '', 'r2,otherwise'], ['prove', '', 'otherwise'],
    ])
  })

  it('asks for a class of capacitors alone: a transformer across the mains carries none', () => {
    const rows = 'T1,,mains,transformer,,across the mains\nR1,,1M,resistor,,across the mains\nC1,,100n,capacitor,film,across the mains\n'
    expect(of(rows, [across]).map(({ action, requires }) => [action, requires.join()])).toEqual([['prove', ''], ['prove', ''], ['replace', 'class-x']])
  })

  it('joins a class that is required with a rule that replaces anyway', () => {
    expect(of('C1,,100n,capacitor,paper,across the mains\n', [across, { match: { dielectric: 'paper' }, action: 'replace-and-prove-new' }]))
      .toMatchObject([{ action: 'replace-and-prove-new', requires: ['class-x'], rules: ['r2', 'r1'], conflicts: [] }])
  })

  it('tells rules that disagree, and decides nothing', () => {
    const rules = [electrolytics, { match: { designators: 'C1' }, action: 'leave' }]
    for (const list of [rules, [...rules].reverse()]) {
      const [decision] = of('C1,,10u,capacitor,electrolytic,\n', list)
      expect(decision).toMatchObject({ action: null })
      expect(decision!.conflicts.map(({ action }) => action).sort()).toEqual(['leave', 'replace-and-prove-new'])
    }
    expect(of('C1,,100n,capacitor,film,across the mains\n', [across, { match: { kind: 'capacitor' }, action: 'prove' }])).toMatchObject([{ action: null, conflicts: [{}, {}] }])
  })

  it('follows the rule that is put over others', () => {
    expect(of('C1,,10u,capacitor,electrolytic,\n', [electrolytics, { match: { designators: 'C1' }, action: 'leave', over: 'r1' }]))
      .toMatchObject([{ action: 'leave', rules: ['r2'], conflicts: [] }])
  })

  it('leaves open what a rule would need to know, and says what', () => {
    expect(of('C1,,10u,capacitor,,\n', [electrolytics])).toMatchObject([{ action: null, unsure: [{ rule: 'r1', missing: 'its dielectric' }] }])
    expect(of('C1,,10u,capacitor,film,\n', [{ match: { ratedVMin: 100 }, action: 'replace' }])).toMatchObject([{ action: null, unsure: [{ missing: 'its rated volts' }] }])
    expect(of('D1,,x,diode,,\n', [{ match: { material: 'germanium' }, action: 'leave' }])).toMatchObject([{ action: null, unsure: [{ missing: 'silicon, germanium or selenium' }] }])
  })

  it('leaves nothing open that would come out the same', () => {
    expect(of('C1,,10u,capacitor,,\n', [{ ...electrolytics, action: 'prove' }])).toMatchObject([{ action: 'prove', unsure: [] }])
    expect(of('C1,,10u,capacitor,,\n', [electrolytics, { match: { designators: 'C1' }, action: 'leave', over: 'r1' }])).toMatchObject([{ action: 'leave', unsure: [] }])
    expect(of('R1,,4k7,resistor,,\n', [electrolytics])).toMatchObject([{ action: 'prove', unsure: [] }])
    expect(of('C1,,100n X2,capacitor,,\n', [electrolytics])).toMatchObject([{ action: 'prove', unsure: [] }])
  })

  it('decides a reel as one', () => {
    expect(of(',200,4k7,resistor,,\n', [{ match: { kind: 'resistor' }, action: 'leave' }])).toMatchObject([{ designator: null, line: 2, action: 'leave' }])
  })

  it('knows places that the list has no column for, and tells where the two differ', () => {
    const places = { 'across-mains': 'C1-C2', 'mains-to-earth': ['C3'] }
    expect(of('C1,,100n,capacitor,film,\nC3,,4n7,capacitor,film,\n', [across, toEarth], { places }).map(({ requires }) => requires.join())).toEqual(['class-x', 'class-y'])
    expect(decided('C1,,100n,capacitor,film,mains to earth\n', [across, toEarth], { places: { 'across-mains': 'C1' } }).remarks)
      .toContain('C1 sits at mains-to-earth and across-mains: list and policy differ')
  })

  it('names capacitors made for the mains of which nobody said where they sit', () => {
    const rows = 'C1,,100n 250V~,capacitor,film,\nC2,,4n7 Y2,capacitor,film,\nC3,,100n 63V,capacitor,film,\nC4,,100n X2,capacitor,film,across the mains\nC5,,1n 250VAC,capacitor,film,\n'
    expect(decided(rows, [across], { places: { 'mains-to-earth': 'C5' } }).remarks)
      .toEqual(['made for the mains by their marks, and not said to sit anywhere: C1, C2'])
    expect(decided(rows, [{ match: { kind: 'capacitor' }, action: 'prove' }]).remarks).toEqual([])
  })

  it('tells what in it has no effect', () => {
    expect(decided('R1,,4k7,resistor,,\n', [across, { match: { designators: 'C9, R1' }, action: 'leave' }]).remarks).toEqual([
      'named by the policy and not in the list: C9', 'no part is said to sit anywhere, so no rule by place can match', 'the rule r1 matched no part',
    ])
  })

  it('does not depend on the order of its rules', () => {
    const match = fc.constantFrom({ kind: 'capacitor' }, { dielectric: 'film' }, { where: 'across-mains' }, { designators: 'C1-C3' }, { ratedVMin: 100 }, { kind: ['resistor', 'capacitor'] })
    const rules = fc.array(fc.record({ match, action: fc.constantFrom(...policyActions) }), { minLength: 1, maxLength: 5 })
    const rows = 'R1,,4k7,resistor,,\nC1,,100n 250V,capacitor,film,across the mains\nC2,,100n X2 63V,capacitor,film,across the mains\nC3,,1n,capacitor,,\n'
    fc.assert(fc.property(rules, list => {
      const named = list.map((rule, i) => ({ ...rule, name: `n${i}` }))
      const said = (decisions: Decision[]): unknown => decisions.map(({ action, requires, conflicts, unsure }) =>
        [action, [...requires].sort(), conflicts.map(({ rule }) => rule).sort(), unsure.map(({ rule }) => rule).sort()])
      const one = of(rows, named)
      expect(said(of(rows, [...named].reverse()))).toEqual(said(one))
      // Nothing is decided that a conflict or a gap stands against.
      for (const { action, conflicts, unsure } of one) expect(action === null).toBe(conflicts.length + unsure.length > 0)
    }), { numRuns: 200 })
  })
})

describe('a policy file', () => {
  const good = 'policy: p\nrules:\n  - { name: a, match: { kind: capacitor }, action: prove, reason: why not }\notherwise: { action: prove, reason: all of them }\n'
  const told = (text: string): string[] => {
    const parsed = parseText(partsPolicy, text, 'policy.yaml')
    return parsed.ok ? [] : parsed.problems.map(describeProblem)
  }
  it('is read', () => { expect(told(good)).toEqual([]) })
  it.each([
    ['a wrong key', good.replace('kind:', 'knd:'), 'did you mean kind?'], ['a wrong kind', good.replace('capacitor', 'capacitator'), 'expected one of "resistor"'],
    ['a wrong action', good.replace('action: prove, reason: why', 'action: burn, reason: why'), '"require class-x"'], ['no match', good.replace('{ kind: capacitor }', '{}'), 'at least one thing to match by'],
    ['a range of nothing', good.replace('kind: capacitor', 'designators: C1-4'), 'a range with both ends, like C1-C4'], ['a rule over itself', good.replace('reason: why not', 'reason: why not, over: a'), 'another rule, not a'],
    ['volts the wrong way round', good.replace('kind: capacitor', 'ratedVMin: 100, ratedVMax: 50'), 'ratedVMin no larger than ratedVMax'],
    ['a name twice', good.replace('otherwise', '  - { name: a, match: { kind: led }, action: leave, reason: why not }\notherwise'), 'each rule a name of its own'],
    ['rules over each other', good.replace('why not }', 'why not, over: b }').replace('otherwise', '  - { name: b, match: { kind: led }, action: leave, reason: why not, over: c }\n  - { name: c, match: { kind: led }, action: prove, reason: why not, over: a }\notherwise'), 'a rule that is not under itself by way of others'],
    ['no otherwise', good.replace(/otherwise.*\n/, ''), 'otherwise'],
  ])('with %s is told with its line', (_, text, words) => {
    const problems = told(text)
    expect(problems.join('\n')).toContain(words)
    for (const problem of problems) expect(problem).toMatch(/^\d+:\d+ /)
  })
})

describe('the shipped example', () => {
  it('is read whole, and every part of it is decided by a policy whose every rule matches', () => {
    const { list, problems } = readPartsFile(packageFile('profiles', 'lists', 'saltmarsh-pavilion.csv'))
    expect(problems).toEqual([])
    const { decisions, remarks } = decide(list.parts, loadFile(packageFile('profiles', 'policies', 'saltmarsh-pavilion.yaml'), partsPolicy))
    expect(remarks).toEqual([])
    expect(decisions).toHaveLength(61)
    const action = (name: string): string => {
      const { action: what, requires } = decisions.find(({ designator }) => designator === name)!
      return [what, ...requires].join(' ')
    }
    expect(['C101', 'C102', 'C104', 'C1', 'C5', 'C11', 'C17', 'R1', 'F1'].map(action)).toEqual([
      'replace-and-prove-new class-x', 'replace-and-prove-new class-y', 'prove', 'prove', 'replace-and-prove-new', 'replace-and-prove-new', 'prove', 'prove', 'leave',
    ])
    expect(decisions.filter(one => one.action === null)).toEqual([])
  })
})
