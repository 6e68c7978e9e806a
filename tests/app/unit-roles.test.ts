/** A bench that has what a whole unit needs: whose links are the keeper's, and what its table does with them. */
import { describe, expect, it } from 'vitest'
import { compose, energyInstruments } from '../../src/app/compose.ts'
import { checkBench, ProfileFolder } from '../../src/app/files.ts'
import { VirtualClock } from '../../src/base/clock.ts'
import type { BenchError } from '../../src/base/errors.ts'
import { packageFile } from '../../src/base/paths.ts'
import { benchFile, type BenchFile } from '../../src/schema/bench.ts'
import { loadFile } from '../../src/schema/read-file.ts'

const folder = new ProfileFolder(null)
const around = {
  'mains-switch': 'mains-contactor-a', 'power-meter': 'power-meter-b', generator: 'signal-generator-b', digitizer: 'digitizer-b', 'ac-meter': 'multimeter-6d-a',
  load: 'load-bank-a',
} as const

/** One part on a supply, and a unit beside it. */
function file(): BenchFile {
  const bench = structuredClone(loadFile(packageFile('profiles', 'benches', 'one-part.yaml'), benchFile))
  for (const [role, profile] of Object.entries(around)) {
    bench.instruments[role] = { profile, url: 'tcp://192.0.2.9:5025', identity: 'what *IDN? answers' }
    bench.roles[role as keyof typeof around] = role
  }
  return bench
}

const composed = () => {
  const bench = checkBench(file(), 'bench.yaml', folder)
  const port = (name: string) => ({ name, query: async () => '', write: async () => {} })
  return { bench, ...compose(bench, {
    clock: new VirtualClock(), linkClock: new VirtualClock(), open: () => { throw new Error('nothing is opened') }, keeperPort: port,
  }) }
}

describe('a bench with a unit', () => {
  it('leaves contactor, generator and loads to the keeper, and nothing that only reads', () => {
    const { bench, sessions } = composed()
    expect(energyInstruments(bench).sort()).toEqual(['generator', 'load', 'mains-switch', 'psu'])
    expect([...sessions.keys()].sort()).toEqual(['ac-meter', 'digitizer', 'meter', 'power-meter'])
  })

  it('mutes, opens, then switches the supply off, and holds the contactor', () => {
    const { table } = composed()
    expect(table.phases.map(phase => phase.steps.map(({ link }) => link))).toEqual([['generator', 'mains-switch', 'psu']])
    expect(table.refreshes).toEqual([{ link: 'mains-switch', command: 'MAIN:HOLD', everyMs: 750 }])
  })

  it('refuses an instrument of another class, and a meter that cannot read RMS volts', () => {
    const bench = file()
    bench.roles['power-meter'] = 'meter'
    bench.instruments['ac-meter']!.profile = 'multimeter-5d-b'
    try {
      checkBench(bench, 'bench.yaml', folder)
      throw new Error('taken')
    } catch (error) {
      expect((error as BenchError).context.problems).toEqual(expect.arrayContaining([
        expect.objectContaining({ path: 'roles.power-meter', expected: 'power-meter', got: 'meter, a multimeter' }),
        expect.objectContaining({ path: 'roles.ac-meter', expected: 'a profile with a section `alternating`' }),
      ]))
    }
  })
})
