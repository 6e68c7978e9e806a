import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { expandDesignators } from '../../src/schema/designators.ts'

const names = (text: string): readonly string[] => {
  const { names: all, problems } = expandDesignators(text)
  expect(problems).toEqual([])
  return all
}

describe('designators', () => {
  it.each([
    ['C1-C4, C7', 'C1 C2 C3 C4 C7'], ['R1 R2 R3', 'R1 R2 R3'], ['R1;R2/R3', 'R1 R2 R3'], ['c1 - c3', 'C1 C2 C3'], ['C1–C3', 'C1 C2 C3'],
    ['C1..C3', 'C1 C2 C3'], ['C1 to C3', 'C1 C2 C3'], ['LED1', 'LED1'], ['C5A-C5C', 'C5A C5B C5C'], ['C5A, C5B', 'C5A C5B'], ['', ''], ['R9-R11', 'R9 R10 R11'],
  ])('%s', (text, all) => { expect(names(text).join(' ')).toBe(all) })

  it.each([
    ['C1-4', 'a range with both ends, like C1-C4'], ['C4-C1', 'a range that goes up'], ['C1-R4', 'a range of one letter'], ['C1-C2-C3', 'designators like R1 or C1-C4'],
    ['C', 'designators like R1 or C1-C4'], ['12', 'designators like R1 or C1-C4'], ['C1-C5000', 'a range of at most 1000'], ['C5A-C6B', 'a range of sections like C5A-C5C'],
    ['C1, C1', 'each designator once'], ['C1-C3, C2', 'each designator once'],
  ])('%s is told', (text, expected) => { expect(expandDesignators(text).problems.map(problem => problem.expected)).toEqual([expected]) })

  it('that would fill memory are refused', () => {
    const { names: all, problems } = expandDesignators(Array.from({ length: 90 }, (_, i) => `${'ABCDEFGHIJ'[i % 10]}${i}000-${'ABCDEFGHIJ'[i % 10]}${i}999`).join(' '))
    expect([all, problems]).toEqual([[], [{ expected: 'at most 20000 designators', got: 'more' }]])
  })

  it('of any text are expanded or told, and quickly', () => {
    fc.assert(fc.property(fc.oneof(fc.string({ maxLength: 60 }), fc.array(fc.constantFrom('C', '1', '-', ' ', ',', 'to', '..', 'A', '99999'), { maxLength: 20 }).map(list => list.join(''))), text => {
      for (const name of expandDesignators(text).names) expect(name).toMatch(/^[A-Z]{1,4}\d{1,5}[A-Z]?$/)
    }), { numRuns: 1000 })
  })
})
