/** What a bench file must say before its jig may give more than touch-safe. */
import { describe, expect, it } from 'vitest'
import { VirtualClock } from '../../src/base/clock.ts'
import type { BenchError } from '../../src/base/errors.ts'
import { checkBench, ProfileFolder } from '../../src/app/files.ts'
import { coverProblems } from '../../src/app/cover-checks.ts'
import { compose, energyInstruments } from '../../src/app/compose.ts'
import { benchFile, type BenchFile } from '../../src/schema/bench.ts'
import { JigBench } from '../../mocks/bench/jig-bench.ts'

type Draft = BenchFile & { jig: NonNullable<BenchFile['jig']> }
const profiles = new ProfileFolder(null)
const draft = (covered: boolean): Draft =>
  benchFile.parse(new JigBench({ clock: new VirtualClock(), seed: 1, covered }).benchFile()) as Draft

function problemsOf(change: (file: Draft) => void, covered = true): string[] {
  const file = structuredClone(draft(covered))
  change(file)
  try {
    checkBench(benchFile.parse(file), 'bench.yaml', profiles)
    return []
  } catch (error) {
    return ((error as BenchError).context.problems ?? []).map(({ path, expected, got }) => `${path}: ${expected}; ${got}`)
  }
}

describe('a jig above touch-safe', () => {
  it('is taken as the simulated one is', () => { expect(problemsOf(() => {})).toEqual([]) })

  it('is refused on a bench that has one real instrument', () => {
    expect(problemsOf(file => { file.instruments['smu']!.identity = 'MAKER,MODEL,1,1.0' }))
      .toEqual([expect.stringMatching(/^jig\.cover: none: above touch-safe the jig is for simulated benches alone/)])
  })

  it.each<[string, (file: Draft) => void, RegExp]>([
    ['a cover', file => { delete file.jig.cover }, /^jig\.voltageMaxV: 60 V at most, or `jig\.cover`; 500 V$/],
    ['a contact and a button', file => { delete file.roles.interlock }, /^roles\.interlock: what reads the cover contact and the button/],
    ['a source', file => { delete file.roles.source; delete file.jig.leads!.source }, /^roles\.source: a source whose interlock the cover opens/],
    ['relays that lead the source', file => { delete file.jig.leads!.source }, /^jig\.leads\.source: relays that lead the source/],
    ['a source with an interlock', file => {
      file.instruments['smu']!.profile = 'source-measure-b'
      delete file.roles['second-source']
      delete file.jig.leads!['second-source']
    }, /^roles\.source: a source that an open interlock input keeps at 60\.0 V or below.*; smu, without one$/],
    ['an interlock that keeps it below touch-safe', file => { file.limits.touchSafeV = 30 }, /^roles\.source: .* 30\.0 V or below .*; smu: 42\.0 V$/],
    ['a bleeder that is quick enough', file => { file.jig.cover!.bleederOhm = 1e8 }, /^jig\.cover\.bleederOhm: at most 5\.86 MΩ, which empties 2\.00 µF/],
    ['a bleeder that is quick enough for the larger parts of an open jig', file => { file.jig.cover!.bleederOhm = 1e6 }, /^jig\.cover\.bleederOhm: at most 80\.\d kΩ, which empties 283 µF \(the limits\.partEnergyMaxJ at 42\.0 V\)/],
    ['a bleeder that the contacts can take', file => { file.jig.cover!.bleederOhm = 1000 }, /^jig\.cover\.bleederOhm: at least 10\.0 kΩ, for the contacts of matrix; 1\.00 kΩ$/],
    ['a board of its own', file => { file.roles.bleed = { instrument: 'matrix', relay: 100 } }, /^roles\.bleed: another board than that of a jig with a cover; matrix$/],
    ['relays of its own', file => { file.jig.cover!.lockRelay = 17 }, /^jig\.cover\.lockRelay: each relay once; relay 17, as at jig\.leads\.source\.high$/],
    ['two relays', file => { file.jig.cover!.bleedRelay = 41 }, /^jig\.cover\.bleedRelay: each relay once; relay 41, as at jig\.cover\.lockRelay$/],
    ['contacts for its volts', file => { file.jig.voltageMaxV = 700 }, /^roles\.jig: contacts for 700 V/],
    ['a source for its volts', file => { file.jig.voltageMaxV = 700 }, /^roles\.source: terminals for 700 V to earth; smu: 600 V$/],
  ])('is refused without %s', (_what, change, problem) => {
    expect(problemsOf(change)).toEqual(expect.arrayContaining([expect.stringMatching(problem)]))
  })

  it('is refused with a board that is not insulated from earth for what the source can give', () => {
    const bench = checkBench(draft(true), 'bench.yaml', profiles)
    const board = bench.profiles.get('matrix')!
    if (board.profile.class !== 'relay-board') throw new Error('no board')
    const { isolation } = board.profile
    const told = (terminalsToEarthV: number): string[] => {
      const profile = { ...board.profile, isolation: { ...isolation, terminalsToEarthV } } as typeof board.profile
      return coverProblems({ ...bench, profiles: new Map([...bench.profiles, ['matrix', { ...board, profile }]]) }, 'bench.yaml')
        .map(({ path, expected, got }) => `${path}: ${expected}; ${got}`)
    }
    expect(told(599)).toEqual(['roles.jig: contacts for 600 V to earth, which the source can give; matrix: 599 V'])
    expect(told(600)).toEqual([])
  })

  it('leaves a jig without a cover as it was', () => {
    expect(problemsOf(() => {}, false)).toEqual([])
    expect(problemsOf(file => { file.jig.voltageMaxV = 60 }, false)).toEqual([])
  })
})

describe('the board that locks a cover', () => {
  const composed = (covered: boolean) => {
    const bench = checkBench(draft(covered), 'bench.yaml', profiles)
    const port = (name: string) => ({ name, query: async () => '', write: async () => {} })
    const { table } = compose(bench, {
      clock: new VirtualClock(), linkClock: new VirtualClock(), open: () => { throw new Error('nothing is opened') }, keeperPort: port,
    })
    return { names: energyInstruments(bench), table }
  }

  it('belongs to the keeper, is released by a safe-off once the sources are down, and holds nothing before arming', () => {
    const { names, table } = composed(true)
    expect(names).toContain('matrix')
    const [first, second] = table.phases
    expect(first!.steps.map(({ link }) => link)).toEqual(['smu', 'base-smu'])
    expect(second!.steps).toMatchObject([{ link: 'matrix', step: { commands: ['ROUT:OPEN:ALL'] } }])
    expect(second!.gapMs).toBeGreaterThan(0)
    expect(table.energising).toEqual(expect.arrayContaining([{ link: 'matrix', begins: 'ROUT:CLOS (@', but: [] }]))
  })

  it('is nobody’s where there is no cover', () => {
    const { names, table } = composed(false)
    expect(names).not.toContain('matrix')
    expect(table.phases).toHaveLength(1)
  })
})
