/** What a bench file must say of its jig beyond its schema. */
import { describe, expect, it } from 'vitest'
import { jigProblems } from '../../src/app/fixture-checks.ts'
import type { BenchFile } from '../../src/schema/bench.ts'

const leads = {
  bridge: { high: [1, 2, 3], low: [4, 5, 6] }, source: { high: [7, 8, 9], low: [10, 11, 12] },
}
const bench = (jig: object, roles: object): BenchFile => ({
  jig: { terminals: 3, voltageMaxV: 30, currentMaxA: 0.1, ...jig }, roles,
}) as unknown as BenchFile
const paths = (jig: object, roles: object): string[] => jigProblems(bench(jig, roles), 'bench.yaml').map(({ path }) => path)

describe('the jig of a bench file', () => {
  const roles = { bridge: 'lcr', source: 'smu', jig: 'matrix' }
  it('is taken where every lead has its role, its relays and a board', () => {
    expect(paths({ leads }, roles)).toEqual([])
    expect(jigProblems({ roles } as unknown as BenchFile, 'bench.yaml')).toEqual([])
  })
  it('is refused without a board, without the instrument, with a relay named twice or missing', () => {
    expect(paths({ leads }, { bridge: 'lcr', source: 'smu' })).toEqual(['roles.jig'])
    expect(paths({ leads }, { bridge: 'lcr', jig: 'matrix' })).toEqual(['jig.leads.source'])
    expect(paths({ leads: { bridge: { high: [1, 2, 3], low: [4, 5, 3] } } }, roles)).toEqual(['jig.leads.bridge.low'])
    expect(paths({ leads: { bridge: { high: [1, 2, 3], low: [4, 5] } } }, roles)).toEqual(['jig.leads.bridge.low'])
  })
  it('has a wire that joins terminals, and a sensor, only with relays and an instrument of their own', () => {
    const joint = { high: [13, 14, 15], low: [16, 17, 18] }
    expect(paths({ leads, joint }, roles)).toEqual([])
    expect(paths({ leads, joint: { ...joint, low: [16, 17, 1] } }, roles)).toEqual(['jig.joint.low'])
    expect(paths({ leads, joint: { ...joint, high: [13, 14] } }, roles)).toEqual(['jig.joint.high'])
    expect(paths({ terminals: 2, joint }, { bridge: 'lcr' })).toEqual(['jig.joint'])
    expect(paths({ leads, thermometer: 3 }, roles)).toEqual(['jig.thermometer'])
    expect(paths({ leads, thermometer: 3 }, { ...roles, thermometer: 'air' })).toEqual([])
  })
  it('has one instrument and two terminals where nothing is led by relays', () => {
    expect(paths({ terminals: 2 }, { bridge: 'lcr' })).toEqual([])
    expect(paths({ terminals: 2 }, roles)).toEqual(['jig.leads'])
    expect(paths({ terminals: 3 }, { bridge: 'lcr' })).toEqual(['jig.terminals'])
    expect(paths({ terminals: 4 }, { bridge: 'lcr' })).toEqual(['jig.terminals'])
  })
})
