import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { connected, followed } from '../../src/safety/held.ts'
import { freshPosition } from '../../src/engine/position.ts'
import type { PositionState } from '../../src/engine/position.ts'
import type { BridgeReading } from '../../src/schema/roles.ts'
import type { Measured } from '../../src/schema/reading.ts'
import { gradeWords, type PartResult } from '../../src/schema/run.ts'
import { combine, gradePart } from '../../src/sequences/grade.ts'
import { gradeOfBridge } from '../../src/sequences/grade-bridge.ts'
import { criterion } from '../../src/sequences/criteria.ts'
import type { Criterion } from '../../src/schema/run.ts'
import type { Evidence } from '../../src/sequences/grade.ts'
import type { FormalReading } from '../../src/sequences/formal.ts'
import type { Known } from '../../src/sequences/formal-leakage.ts'
import { partOf, pavilionFile } from '../safety/pavilion.ts'

/** 1.64485: the one-sided guard band at 95 % in standard uncertainties. */
const k = 1.6448536269514722
const good = (value: number, u: number): Measured => ({ value, u, quality: 'good', atMs: 0 })
const known = (value: number, u: number): Known => ({ ...good(value, u), dof: Infinity })

/** A limit of 1 mA, measured to 10 µA. */
const limitA = 1e-3
const uA = 1e-5
const formalOf = (leakageA: number, u = uA): FormalReading =>
  ({ leakage: known(leakageA, u), atTarget: known(leakageA, u), volts: 449, limitA, afterS: 120, source: 'a data sheet', caseC: null })
/** Inside 37.6 to 56.4 µF, and below 2 × 0.2 / (2π·120·47 µF) = 11.29 Ω. */
const bridgeOf = (capacitanceF = 47e-6, esrOhm = 2): BridgeReading => ({
  capacitance: good(capacitanceF, 5e-8), esr: good(esrOhm, 0.02), dissipation: good(0.05, 1e-3), frequencyHz: 120,
})

interface Given {
  formal?: FormalReading | string; bridge?: BridgeReading | string | null; provisional?: boolean
  dead?: 'dead' | 'unmeasured' | 'none'; set?: (position: PositionState, evidence: Evidence) => void
}

/** Everything there and good, but for what is given. */
function graded({ formal = formalOf(1e-4), bridge = bridgeOf(), provisional = true, dead = 'dead', set }: Given = {}): PartResult {
  const profile = { ...partOf(), capacitanceF: 47e-6, toleranceMinus: 0.2, tolerancePlus: 0.2, dissipationMax: 0.2, esrFactorMax: 2, bridgeHz: 120 as const }
  const position = freshPosition(0, pavilionFile().fixture.positions[0]!,
    { position: 'P01', part: 'T-1', profile: profile.name, note: '', condition: 'sound' }, profile)
  const evidence: Evidence = {
    traces: new Map(), leavings: new Map(), formal: new Map([[position, formal]]), recoveredV: new Map(),
    bridge: new Map(bridge === null ? [] : [[position, bridge]]), provisional, lost: new Set(), targetV: profile.ratedV,
  }
  if (dead !== 'none') position.held = followed(connected(position.held), dead === 'dead'
    ? { verdict: 'dead', belowV: 60, atWallMs: 0, text: 'measured below 60 V' }
    : { verdict: 'unmeasured', text: 'NOT SAFE TO TOUCH: UNMEASURED' }, 400, dead === 'dead')
  set?.(position, evidence)
  return gradePart(position, evidence)
}

describe('the grade of a part by the bridge alone', () => {
  const byBridge = (reading: BridgeReading): PartResult => {
    const profile = { ...partOf(), capacitanceF: 47e-6, toleranceMinus: 0.2, tolerancePlus: 0.2, dissipationMax: 0.2, esrFactorMax: 2, bridgeHz: 120 as const }
    return gradeOfBridge(freshPosition(0, pavilionFile().fixture.positions[0]!,
      { position: 'P01', part: 'T-1', profile: profile.name, note: '', condition: 'sound' }, profile), reading)
  }
  it.each([
    ['a little too much capacitance, which thin oxide explains', bridgeOf(57.6e-6), 'cannot tell', 'form'],
    ['more than thin oxide explains', bridgeOf(70e-6), 'reject', 'replace'],
    ['a little too much, and too much ESR', bridgeOf(57.6e-6, 30), 'reject', 'replace'],
    ['too little', bridgeOf(30e-6), 'reject', 'replace'],
    ['what it is rated', bridgeOf(), 'accept', 'use'],
  ])('with %s', (_, reading, grade, disposition) => {
    expect(byBridge(reading)).toMatchObject({ grade, disposition })
  })
})

describe('the grade of a part', () => {
  it('holds to the volts it was taken to, and says so where those are fewer than its rating', () => {
    const to = (targetV: number, given: Given = {}) => graded({ ...given, set: (_, evidence) => { evidence.targetV = targetV } })
    const { ratedV } = partOf()
    const low = to(50)
    expect(low).toMatchObject({ grade: 'accept', upTo: { volts: 50, ratedV }, reason: `within every limit with its uncertainty, to 50 V of ${ratedV} V` })
    expect(gradeWords(low)).toBe(`accept (provisional) to 50 V of ${ratedV} V`)
    expect(to(ratedV)).not.toHaveProperty('upTo')
    expect(to(50, { formal: formalOf(1) })).not.toHaveProperty('upTo')
  })

  it.each([
    ['far below its limit', 1e-4, 'accept', 'use'],
    ['just inside the guard band', limitA - k * uA * 1.001, 'accept', 'use'],
    ['just in the guard band', limitA - k * uA * 0.999, 'marginal', 'retest'],
    ['at its limit', limitA, 'marginal', 'retest'],
    ['over its limit within the uncertainty', limitA + k * uA * 0.999, 'marginal', 'retest'],
    ['over its limit beyond it', limitA + k * uA * 1.001, 'reject', 'replace'],
  ])('with leakage %s', (_, leakageA, grade, disposition) => {
    expect(graded({ formal: formalOf(leakageA) })).toMatchObject({ grade, disposition })
  })

  it('is not told where leakage is known worse than a third of its limit, however low it reads', () => {
    expect(graded({ formal: formalOf(1e-4, 0.333e-3) }).grade).not.toBe('cannot tell')
    expect(graded({ formal: formalOf(1e-4, 0.334e-3) })).toMatchObject({ grade: 'cannot tell', disposition: 'retest' })
  })

  it.each([
    ['capacitance below tolerance', bridgeOf(37e-6), 'reject', 'capacitance'], ['at its edge', bridgeOf(37.6e-6), 'marginal', 'capacitance'],
    ['capacitance above tolerance', bridgeOf(57e-6), 'reject', 'capacitance'], ['ESR over its limit', bridgeOf(47e-6, 11.4), 'reject', 'esr'],
    ['ESR just under it', bridgeOf(47e-6, 11.2), 'accept', ''],
  ])('with %s', (_, bridge, grade, name) => {
    const result = graded({ bridge })
    expect(result.grade).toBe(grade)
    if (name !== '') expect(result.reason).toMatch(new RegExp(`^${name} `))
  })

  it('is not told of a part whose contact came and went: no charge at its release, or more back than absorption gives', () => {
    expect(graded({ set: (position, { lost }) => { (lost as Set<PositionState>).add(position) } }).grade).toBe('cannot tell')
    const back = (volts: number) => graded({ set: (position, { recoveredV }) => { recoveredV.set(position, volts) } }).grade
    expect(back(0.31 * 450)).toBe('cannot tell')
    expect(back(0.15 * 450)).toBe('accept')
  })

  it('does not condemn for too much capacitance a part that was formed to less than its rating', () => {
    const formedTo = (targetV: number, bridge: BridgeReading) => graded({ bridge, set: (_, evidence) => { evidence.targetV = targetV } })
    expect(formedTo(150, bridgeOf(57e-6))).toMatchObject({ grade: 'cannot tell', disposition: 'form' })
    expect(formedTo(450, bridgeOf(57e-6))).toMatchObject({ grade: 'reject', disposition: 'replace' })
    expect(formedTo(150, bridgeOf(57e-6, 11.4))).toMatchObject({ grade: 'reject', disposition: 'replace' })
    expect(formedTo(150, bridgeOf(37e-6))).toMatchObject({ grade: 'reject', disposition: 'replace' })
  })

  it('carries each comparison with value, uncertainty, limit and source', () => {
    const { criteria, pConform } = graded()
    expect(criteria.map(({ name }) => name)).toEqual(['leakage', 'capacitance', 'esr'])
    expect(criteria[0]).toMatchObject({ value: 1e-4, unit: 'A', limitHigh: limitA, source: 'a data sheet' })
    expect(criteria[0]!.expandedU).toBeCloseTo(1.96 * uA, 7)
    expect(pConform).toBeGreaterThan(0.999)
  })

  it('is by leakage alone where the bench has no bridge for it', () => {
    expect(graded({ bridge: null })).toMatchObject({ grade: 'accept', criteria: [{ name: 'leakage' }] })
  })

  it('is the worst of its criteria, and gives that one as the reason', () => {
    const order = ['reject', 'cannot tell', 'marginal', 'accept']
    const leakages: [number, number][] = [[1e-4, uA], [limitA, uA], [2e-3, uA], [1e-4, 1e-3]]
    fc.assert(fc.property(fc.constantFrom(...leakages), fc.constantFrom(30e-6, 37.6e-6, 47e-6), fc.constantFrom(2, 20), ([a, u], f, ohm) => {
      const { grade, criteria, reason } = graded({ formal: formalOf(a, u), bridge: bridgeOf(f, ohm) })
      const worst = Math.min(...criteria.map(criterion => order.indexOf(criterion.grade)))
      expect(grade).toBe(order[worst])
      const first = criteria.find(criterion => criterion.grade === grade)!.name
      expect(reason.startsWith(grade === 'accept' ? 'within every limit' : `${first} `)).toBe(true)
    }))
  })

  it('does not depend on the order of criteria', () => {
    const { criteria } = graded({ formal: formalOf(limitA), bridge: bridgeOf(30e-6) })
    expect(combine([...criteria].reverse())).toMatchObject({ grade: combine(criteria).grade, reason: combine(criteria).reason })
  })
})

describe('a provisional grade', () => {
  it('follows the kind of run, whatever the grade', () => {
    for (const leakageA of [1e-4, limitA, 2e-3]) {
      expect(graded({ formal: formalOf(leakageA), provisional: true }).provisional).toBe(true)
      expect(graded({ formal: formalOf(leakageA), provisional: false }).provisional).toBe(false)
    }
  })
})

describe('what cannot be told', () => {
  it.each<[string, Given, RegExp]>([
    ['no formal reading', { set: (position, { formal }) => { formal.delete(position) } }, /no formal reading/],
    ['words in place of a formal reading', { formal: 'the part did not reach rated voltage' }, /did not reach/],
    ['not proved dead', { dead: 'unmeasured' }, /NOT SAFE TO TOUCH/],
    ['never looked at after bleeding', { dead: 'none' }, /NOT SAFE TO TOUCH: UNMEASURED/],
    ['words in place of the bridge', { bridge: 'the bridge stays off it' }, /the bridge stays off it/],
  ])('%s', (_, given, reason) => {
    const result = graded(given)
    expect(result).toMatchObject({ grade: 'cannot tell', disposition: 'retest', provisional: false, reason: expect.stringMatching(reason) as string })
    expect(result.pConform).toBeNaN()
  })
})

describe('a part that left before the end', () => {
  const leaving = { grade: 'cannot tell' as const, disposition: 'form' as const, reason: 'at 225 V: still improving', stepV: 225 }
  it('has the grade it left with, though it has readings that would accept it', () => {
    const result = graded({ set: (position, { leavings }) => { leavings.set(position, leaving) } })
    expect(result).toMatchObject({ grade: 'cannot tell', disposition: 'form', reason: leaving.reason, provisional: false, figures: { leftAtV: 225 } })
    expect(result.pConform).toBeNaN()
  })
  it('keeps the comparison that made it leave, and says nothing of its chances without one', () => {
    const entry = criterion('forming', good(5e-4, 1e-6), 'A', { high: 4e-4 }, 'a data sheet')
    const leave = (criteria?: readonly Criterion[]) => graded({ set: (position, { leavings }) => {
      leavings.set(position, { ...leaving, grade: 'reject', disposition: 'replace', ...criteria ? { criteria } : {} })
    } })
    expect(leave([entry])).toMatchObject({ grade: 'reject', criteria: [entry] })
    expect(leave([entry]).pConform).toBeLessThan(1e-6)
    expect(leave()).toMatchObject({ grade: 'reject', pConform: NaN })
  })
  it('keeps what it took and stood at when it was dropped', () => {
    const result = graded({ set: position => {
      position.stage = 'dropped'
      position.leftWith = { amps: 3e-3, uA: 2e-6, volts: 120 }
    } })
    expect(result.figures).toMatchObject({ leftCurrentA: 3e-3, leftCurrentU: 2e-6, leftPartV: 120 })
  })
  it('is rejected with the words of the limit that dropped it', () => {
    const result = graded({ set: position => { position.stage = 'dropped'; position.note = 'more than a sound part ever takes' } })
    expect(result).toMatchObject({ grade: 'reject', disposition: 'replace', reason: 'more than a sound part ever takes', figures: {} })
  })
  it('is to be formed again when a limit dropped it in a formal reading it was not ready for', () => {
    const result = graded({ formal: 'stood at 300 V of 450 V', set: position => { position.stage = 'dropped'; position.note = 'too much' } })
    expect(result).toMatchObject({ grade: 'cannot tell', disposition: 'form', reason: 'stood at 300 V of 450 V' })
  })
})
