/** Source-measure units on a bench: the keeper owns them, a safe-off turns them off and keeps them off. */
import { describe, expect, it } from 'vitest'
import { memoryEnd } from '../../mocks/bench/links.ts'
import { identityOf } from '../../mocks/instruments/instrument.ts'
import { SourceMeasure } from '../../mocks/instruments/source-measure.ts'
import { compose, energyInstruments, optionsFor } from '../../src/app/compose.ts'
import { checkBench, loadBench, ProfileFolder, type LoadedBench } from '../../src/app/files.ts'
import { VirtualClock } from '../../src/base/clock.ts'
import { BenchError } from '../../src/base/errors.ts'
import { packageFile } from '../../src/base/paths.ts'
import { inlineKeeper } from '../../src/keeper/client.ts'
import { KeeperHost, type KeeperEvent } from '../../src/keeper/host.ts'
import type { Source } from '../../src/schema/roles.ts'
import { Session } from '../../src/scpi/session.ts'
import { memoryLink, type MemoryLink } from '../../src/transport/memory.ts'

const profiles = new ProfileFolder(null)
const shipped = loadBench(packageFile('profiles', 'benches', 'one-part.yaml'), profiles).file
const sources = { smu: 'source-measure-a', 'base-smu': 'source-measure-b' } as const
const entry = (name: string, profile: string) => ({ profile, url: `memory:${name}`, identity: identityOf(profile, { name }) })

/** The bench for one part, with two sources and an ohm-meter beside it. */
function benchWith(over: { roles?: object; meter?: string } = {}): LoadedBench {
  const { meter = 'multimeter-5d-b' } = over
  return checkBench({
    ...shipped,
    instruments: {
      ...shipped.instruments, smu: entry('smu', sources.smu), 'base-smu': entry('base-smu', sources['base-smu']),
      ohms: entry('ohms', meter),
    },
    roles: { ...shipped.roles, source: 'smu', 'second-source': 'base-smu', 'ohm-meter': 'ohms', ...over.roles },
  }, 'test bench', profiles)
}

const problemsOf = (work: () => unknown): string => {
  try {
    work()
    return 'none'
  } catch (error) {
    return error instanceof BenchError ? error.message : String(error)
  }
}

function onTheBench() {
  const clock = new VirtualClock()
  const bench = benchWith()
  const sessions = new Map<string, Session>()
  const links = new Map<string, MemoryLink>()
  const volts = new Map<string, () => number>()
  const instruments = new Map<string, SourceMeasure>()
  const logged: KeeperEvent[] = []
  const host = new KeeperHost({ sessions, livenessClock: clock, benchClock: clock, log: () => {} })
  const add = (name: string, link: MemoryLink): void => {
    links.set(name, link)
    sessions.set(name, new Session(link.open, {
      ...optionsFor(bench, name, clock, clock),
      onNotice: notice => { if (notice.what === 'down') host.linkLost(name) },
    }))
  }
  for (const [name, profile] of Object.entries(sources) as [keyof typeof sources, (typeof sources)[keyof typeof sources]][]) {
    let set = { value: 0, on: false }
    const instrument = new SourceMeasure(profile, { name, clock, seed: 3 }, {
      operate: setting => { set = setting }, volts: () => set.on ? set.value : 0, amps: () => 0, limited: () => false,
    })
    instruments.set(name, instrument)
    volts.set(name, () => set.on ? set.value : 0)
    add(name, memoryLink(clock, memoryEnd(instrument)))
  }
  // The supply of this bench plays no part; it says that it is off.
  const psu = energyInstruments(bench).find(name => !(name in sources))!
  let nonce = '0'
  add(psu, memoryLink(clock, { onBytes(chunk, reply) {
    for (const line of Buffer.from(chunk).toString('latin1').split('\n').filter(text => text !== '')) {
      if (line.startsWith('*ESE ')) nonce = line.slice(5)
      else if (line === '*ESE?') reply(`${nonce}\r\n`)
      else if (line === 'SYST:ERR?') reply('0,"No error"\r\n')
      else if (line.endsWith('?')) reply('0\r\n')
    }
  } }))
  const keeper = inlineKeeper(host)
  keeper.onEvent(event => logged.push(event))
  const composed = compose(bench, {
    clock, linkClock: clock, open: () => { throw new Error('nothing is opened here') },
    keeperPort: name => keeper.port(name),
  })
  const both: Source[] = [composed.roles.source!, composed.roles['second-source']!]
  const armed = async (): Promise<void> => {
    await keeper.configure(composed.table)
    for (const source of both) await source.prepare()
    await keeper.port(psu).write('*CLS')
    await keeper.arm(composed.table, 60_000)
  }
  const energised = async (): Promise<void> => {
    await armed()
    for (const source of both) {
      await source.forceVoltage(5, 0.01)
      await source.setOutput(true)
    }
  }
  const allVolts = (): number[] => [...volts.values()].map(read => read())
  return { clock, bench, keeper, composed, both, instruments, links, armed, energised, allVolts, logged }
}

describe('sources on a bench', () => {
  it('are owned by the keeper, and the ohm-meter is not', () => {
    const { bench, composed } = onTheBench()
    expect(energyInstruments(bench)).toEqual(expect.arrayContaining(['smu', 'base-smu']))
    expect([...composed.sessions.keys()]).toContain('ohms')
    expect([...composed.sessions.keys()].some(name => name in sources)).toBe(false)
    expect(composed.table.phases[0]!.steps.map(step => step.link)).toEqual(expect.arrayContaining(['smu', 'base-smu']))
  })

  it('are not switched on while the keeper is not armed, and are when it is', async () => {
    const b = onTheBench()
    await b.clock.run((async () => {
      await b.keeper.configure(b.composed.table)
      for (const source of b.both) {
        await source.prepare()
        await source.forceVoltage(5, 0.01)
        await expect(source.setOutput(true)).rejects.toMatchObject({ code: 'REFUSED' })
      }
      expect(b.allVolts()).toEqual([0, 0])
      await b.energised()
      for (const volts of b.allVolts()) expect(volts).toBeCloseTo(5, 1)
    })())
  })

  it('are off after a safe-off and seen off, and stay off afterwards whatever is asked', async () => {
    const b = onTheBench()
    await b.clock.run((async () => {
      await b.energised()
      const report = await b.keeper.safeOff('a test')
      expect(b.allVolts()).toEqual([0, 0])
      for (const name of Object.keys(sources)) {
        expect(report.links.find(link => link.link === name)).toMatchObject({ sent: true, verified: true })
      }
      for (const source of b.both) await expect(source.setOutput(true)).rejects.toMatchObject({ code: 'TRIPPED' })
      await b.keeper.reset()
      for (const source of b.both) await expect(source.setOutput(true)).rejects.toMatchObject({ code: 'REFUSED' })
      expect(b.allVolts()).toEqual([0, 0])
    })())
  })

  it('are switched off one by one: a source whose link is gone keeps nothing else on, and is said not to be seen off', async () => {
    const b = onTheBench()
    await b.clock.run((async () => {
      await b.energised()
      const link = b.links.get('smu')!
      link.refuse = true
      link.unplug()
      await b.keeper.safeOff('again')
      expect(b.allVolts()[1]).toBe(0)
      const report = b.logged.find(event => event.type === 'safe-off')!.report
      expect(report.links.find(one => one.link === 'smu')).toMatchObject({ sent: false, verified: false })
      expect(report.links.find(one => one.link === 'base-smu')).toMatchObject({ sent: true, verified: true })
    })())
  })

  it('go off when the daemon no longer beats', async () => {
    const b = onTheBench()
    await b.clock.run(b.energised())
    await b.clock.advance(70_000)
    expect(b.allVolts()).toEqual([0, 0])
  })
})

describe('a bench file', () => {
  it('refuses one multimeter as volt- and ohm-meter, and one source for both roles', () => {
    const meter = Object.entries(shipped.roles).find(([role]) => role === 'sense-meter')![1] as string
    expect(problemsOf(() => benchWith({ roles: { 'ohm-meter': meter } }))).toContain('an instrument of its own')
    expect(problemsOf(() => benchWith({ roles: { 'second-source': 'smu' } }))).toContain('an instrument of its own')
    expect(problemsOf(() => benchWith())).toBe('none')
  })

  it('refuses an ohm-meter whose profile says nothing of resistance', () => {
    const folder = new ProfileFolder(null)
    const instrument = folder.instrument.bind(folder)
    folder.instrument = name => {
      const file = instrument(name)
      if (file.profile.class !== 'multimeter') return file
      const { resistance: _without, ...profile } = file.profile
      return { ...file, profile }
    }
    const file = benchWith().file
    expect(problemsOf(() => checkBench(file, 'test bench', folder))).toMatch(/roles\.ohm-meter.*resistance/s)
  })

  it('refuses a supply as a source', () => {
    expect(problemsOf(() => benchWith({ roles: { source: 'psu' } }))).toContain('source-measure')
  })
})
