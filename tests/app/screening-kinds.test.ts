/** Kinds with more legs on the whole stack: real drivers and relays over simulated instruments and parts. */
import { describe, expect, it } from 'vitest'
import { openTable, requestFor, soon, tablePart, type TablePart } from './screening-bench.ts'

const grades = async (parts: readonly TablePart[]): Promise<{ grades: Record<string, string>; reasons: string; wrongs: string[]; mostV: number }> => {
  const table = await openTable(parts)
  table.onTold = (tone, text) => { if (tone === 'attention' && text.includes('?')) soon(table, 'keep') }
  const run = await table.screen(requestFor(parts))
  expect(run.state).toBe('done')
  const results = await table.store.results(run.id)
  return {
    grades: Object.fromEntries(results.map(({ position, grade }) => [position, grade])), wrongs: table.sim.wrongs,
    reasons: results.map(({ position, reason }) => `${position}: ${reason}`).join('\n'), mostV: table.sim.most.volts,
  }
}

describe('field-effect transistors', () => {
  it('are screened from a list by real drivers: sound, shorted, leaky and of the other channel', async () => {
    const parts = [
      tablePart('Q1', 'n-jfet'), tablePart('Q2', 'p-jfet', 'reversed'), tablePart('Q3', 'n-mosfet'), tablePart('Q4', 'p-mosfet', 'reversed'),
      tablePart('Q5', 'n-jfet', 'leaky'), tablePart('Q6', 'p-mosfet', 'short'), tablePart('Q7', 'n-mosfet', 'mislabelled'), tablePart('Q8', 'n-jfet', 'mislabelled'),
    ]
    const got = await grades(parts)
    const bad = ['Q5', 'Q6', 'Q7', 'Q8']
    expect(got.grades, got.reasons).toEqual(Object.fromEntries(parts.map(({ id }) => [id, bad.includes(id) ? 'reject' : 'accept'])))
    expect(got.wrongs).toEqual([])
    expect(got.mostV).toBeLessThan(20.01)
  })
})

describe('transistors with an insulated gate that conduct without gate volts', () => {
  it('are screened from a list, and told from those that do not and from shorted ones', async () => {
    const parts = [
      tablePart('Q1', 'n-depletion-mosfet'), tablePart('Q2', 'p-depletion-mosfet', 'reversed'), tablePart('Q3', 'n-depletion-mosfet', 'short'),
      tablePart('Q4', 'n-depletion-mosfet', 'mislabelled'), tablePart('Q5', 'n-depletion-mosfet', 'open'), tablePart('Q6', 'n-depletion-mosfet', 'leaky'),
    ]
    const got = await grades(parts)
    expect(got.grades, got.reasons).toEqual({ Q1: 'accept', Q2: 'accept', Q3: 'reject', Q4: 'reject', Q5: 'reject', Q6: 'reject' })
    expect(got.reasons).toMatch(/Q4: it does not conduct without gate volts/)
    expect(got.wrongs).toEqual([])
    expect(got.mostV).toBeLessThan(20.01)
  })
})

describe('selenium rectifiers', () => {
  it('are screened from a list that says how many plates they have', async () => {
    const parts = [
      tablePart('D1', 'selenium-rectifier'), tablePart('D2', 'selenium-rectifier', 'drifted'), tablePart('D3', 'selenium-rectifier', 'reversed'),
      tablePart('D4', 'selenium-bridge'), tablePart('D5', 'selenium-bridge', 'leaky'),
    ]
    const got = await grades(parts)
    expect(got.grades, got.reasons).toEqual({ D1: 'accept', D2: 'reject', D3: 'accept', D4: 'accept', D5: 'reject' })
    expect(got.reasons).toMatch(/D1: .*poisonous fumes/)
    expect(got.wrongs).toEqual([])
  })
})

describe('bridge rectifiers', () => {
  it('are screened on a jig of four terminals: sound, leaky, shorted, lying another way', async () => {
    const parts = [
      tablePart('D1', 'bridge-rectifier'), tablePart('D2', 'bridge-rectifier', 'leaky'), tablePart('D3', 'bridge-rectifier', 'short'),
      tablePart('D4', 'bridge-rectifier', 'reversed'),
    ]
    const got = await grades(parts)
    expect(got.grades, got.reasons).toEqual({ D1: 'accept', D2: 'reject', D3: 'reject', D4: 'accept' })
    expect(got.reasons).toMatch(/D4: .*plus \d, minus \d, alternating \d and \d/)
    expect(got.wrongs).toEqual([])
  })
})

describe('potentiometers', () => {
  it('are turned by the person who is told to, and judged by track, ends, noise and law', async () => {
    const parts = [
      tablePart('RV1', 'potentiometer'), tablePart('RV2', 'potentiometer', 'mislabelled'), tablePart('RV3', 'potentiometer', 'drifted'),
      tablePart('RV4', 'potentiometer', 'open'),
    ]
    const got = await grades(parts)
    expect(got.grades, got.reasons).toEqual({ RV1: 'accept', RV2: 'reject', RV3: 'reject', RV4: 'reject' })
    expect(got.reasons).toMatch(/RV2: share at half a turn/)
    expect(got.wrongs).toEqual([])
  })
})

describe('potentiometers with two gangs', () => {
  it('are proven one after the other and held against each other, while the person moves leads and shaft', async () => {
    const parts = [
      tablePart('RV1', 'ganged-potentiometer'), tablePart('RV2', 'ganged-potentiometer', 'mislabelled'), tablePart('RV3', 'ganged-potentiometer', 'drifted'),
      tablePart('RV4', 'ganged-potentiometer', 'open'),
    ]
    const got = await grades(parts)
    expect(got.grades, got.reasons).toEqual({ RV1: 'accept', RV2: 'reject', RV3: 'reject', RV4: 'reject' })
    expect(got.wrongs).toEqual([])
  })
})

describe('transformers of several windings', () => {
  it('are measured two windings at a time, while the person moves the leads as they are told', async () => {
    const parts = [
      tablePart('T1', 'tapped-transformer'), tablePart('T2', 'tapped-transformer', 'wrong-value'), tablePart('T3', 'tapped-transformer', 'reversed'),
      tablePart('T4', 'tapped-transformer', 'open'), tablePart('T5', 'tapped-transformer', 'mislabelled'), tablePart('T6', 'tapped-transformer', 'leaky'),
    ]
    const got = await grades(parts)
    expect(got.grades, got.reasons).toEqual({ T1: 'accept', T2: 'reject', T3: 'accept', T4: 'reject', T5: 'reject', T6: 'reject' })
    expect(got.reasons).toMatch(/T3: .*winding 3 lies the other way round/)
    expect(got.wrongs).toEqual([])
    expect(got.mostV).toBeLessThan(20.01)
  })
})

describe('transformers', () => {
  it('are measured with their windings in line by relays: sound, shorted, leaky, turned, of another ratio', async () => {
    const parts = [
      tablePart('T1', 'transformer'), tablePart('T2', 'transformer', 'short'), tablePart('T3', 'transformer', 'leaky'),
      tablePart('T4', 'transformer', 'reversed'), tablePart('T5', 'transformer', 'wrong-value'),
    ]
    const got = await grades(parts)
    expect(got.grades, got.reasons).toEqual({ T1: 'accept', T2: 'reject', T3: 'reject', T4: 'accept', T5: 'reject' })
    expect(got.reasons).toMatch(/T4: .*legs 1 and 4 are in phase.*other way round/)
    expect(got.wrongs).toEqual([])
    expect(got.mostV).toBeLessThan(20.01)
  })
})
