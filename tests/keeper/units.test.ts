/** The keeper over a unit: drive mutes before mains opens, loads stay, and nothing energises unless it is armed. */
import { describe, expect, it } from 'vitest'
import type { SimInstrument } from '../../mocks/instruments/instrument.ts'
import { SimLoadBank } from '../../mocks/instruments/load-bank.ts'
import { MainsContactor } from '../../mocks/instruments/mains-contactor.ts'
import { SimSignalGenerator, type SignalProfile } from '../../mocks/instruments/signal-generator.ts'
import { sleep, VirtualClock } from '../../src/base/clock.ts'
import { createDriver } from '../../src/drivers/create.ts'
import { sessionOptionsOf } from '../../src/drivers/session-options.ts'
import { KeeperHost } from '../../src/keeper/host.ts'
import { initialKeeper, stepKeeper, type KeeperInput, type KeeperState } from '../../src/keeper/machine.ts'
import { compileTable } from '../../src/keeper/table.ts'
import type { Cutoff } from '../../src/schema/roles.ts'
import type { ScpiPort } from '../../src/scpi/port.ts'
import { Session } from '../../src/scpi/session.ts'
import { memoryLink } from '../../src/transport/memory.ts'
import { PlainUnit } from '../drivers/plain-unit.ts'
import { scriptedPort, shippedProfile } from '../drivers/scripted-port.ts'

const named = (name: string): ScpiPort => ({ ...scriptedPort({}), name })

function rolesOn(clock: VirtualClock, portOf: (name: string) => ScpiPort, generator: SignalProfile = 'signal-generator-a') {
  return {
    'mains-switch': createDriver('mains-switch', shippedProfile('mains-contactor-a', 'mains-contactor'), portOf('contactor'), clock),
    generator: createDriver('generator', shippedProfile(generator, 'signal-generator'), portOf('drive'), clock),
    load: createDriver('load', shippedProfile('load-bank-a', 'load-bank'), portOf('loads'), clock),
  }
}

describe('the safe-off table of a unit', () => {
  const cutoff = { name: 'cutoff', holdMs: 4000, settleMs: 60, refreshCommand: 'OUTP:HOLD', safeOff: { commands: ['OUTP:OPEN'] }, energising: [] } as unknown as Cutoff

  it('mutes drive before mains opens, and leaves the loads alone', () => {
    const table = compileTable({ ...rolesOn(new VirtualClock(), named), cutoff })
    expect(table.phases.map(phase => phase.steps.map(({ link, step }) => [link, ...step.commands])))
      .toEqual([[['drive', 'OUTP:MUTE:ALL'], ['contactor', 'MAIN:OPEN'], ['cutoff', 'OUTP:OPEN']]])
  })

  it('reads back what it muted and opened', () => {
    for (const generator of ['signal-generator-a', 'signal-generator-b'] as const) {
      const { phases } = compileTable(rolesOn(new VirtualClock(), named, generator))
      expect(phases[0]!.steps.map(({ step }) => step.verify?.query)).toEqual(
        [generator === 'signal-generator-a' ? 'OUTP:ANY?' : 'OUTP:COUN?', 'MAIN:STAT?'])
    }
  })

  it('refreshes a contactor of the mains and one of the bench, each in its own time', () => {
    const { refreshes } = compileTable({ ...rolesOn(new VirtualClock(), named), cutoff })
    expect(refreshes).toEqual([
      { link: 'cutoff', command: 'OUTP:HOLD', everyMs: 1000 }, { link: 'contactor', command: 'MAIN:HOLD', everyMs: 750 },
    ])
  })
})

describe('lines that can power or drive a unit', () => {
  const states = (generator: SignalProfile): Record<'idle' | 'armed' | 'safe', KeeperState> => {
    const table = compileTable(rolesOn(new VirtualClock(), named, generator))
    const after = (...inputs: KeeperInput[]): KeeperState => inputs.reduce((state, input) => stepKeeper(state, input, 0).state, initialKeeper)
    const configure: KeeperInput = { type: 'configure', table, firstSafeOff: false }
    const arm: KeeperInput = { type: 'arm', table, beatLimitMs: 300 }
    const report = { reason: '', atWallMs: 0, sentMs: 0, verifiedMs: 0, links: [] }
    return {
      idle: after(configure), armed: after(configure, arm),
      safe: after(configure, arm, { type: 'stop', by: 'test', reason: 'test' }, { type: 'safe-off-done', report }),
    }
  }
  const does = (state: KeeperState, link: string, command: string): string =>
    stepKeeper(state, { type: 'exchange', link, kind: 'write', command }, 0).effects[0]!.do
  const energising: readonly (readonly [SignalProfile, string, string])[] = [
    ...['SER', 'LOW', 'FULL'].map(way => ['signal-generator-a', 'contactor', `MAIN:CLOS ${way}`] as const),
    ['signal-generator-a', 'contactor', ':main:clos full'], ['signal-generator-a', 'drive', 'OUTP1 ON'], ['signal-generator-a', 'drive', 'OUTP2 ON'],
    ['signal-generator-a', 'drive', 'OUTP2 1'], ['signal-generator-b', 'drive', 'OUTP 1,(@1)'], ['signal-generator-b', 'drive', 'OUTP 1,(@2)'],
    ['signal-generator-b', 'drive', 'OUTP ON,(@1,2)'], ['signal-generator-a', 'contactor', 'MAIN:OPEN;MAIN:CLOS FULL'],
  ]

  it.each(energising)('%s: %s is sent %s only while armed, and not after a stop', (generator, link, command) => {
    const { idle, armed, safe } = states(generator)
    expect([does(idle, link, command), does(armed, link, command), does(safe, link, command)]).toEqual(['refuse', 'accept', 'refuse'])
  })

  it.each([
    ['signal-generator-a', 'drive', 'OUTP1 OFF'], ['signal-generator-a', 'drive', 'SOUR1:TONE1:VOLT 0.1'], ['signal-generator-b', 'drive', 'OUTP 0,(@2)'],
    ['signal-generator-a', 'loads', 'LOAD1:CONN 8'],
  ] as const)('%s: %s takes %s without arming', (generator, link, command) => {
    expect(does(states(generator).idle, link, command)).toBe('accept')
  })

  it('leaves no load to be moved between a stop and its acknowledgement', () => {
    expect(does(states('signal-generator-a').safe, 'loads', 'LOAD1:OPEN')).toBe('refuse')
  })

  it('keeps each of two contactors only while that one was told to be closed', () => {
    const cutoff = { name: 'cutoff', holdMs: 4000, settleMs: 60, refreshCommand: 'OUTP:HOLD', safeOff: { commands: ['OUTP:OPEN'] },
      energising: [{ begins: 'OUTP:CLOS', but: [] }] } as unknown as Cutoff
    const table = compileTable({ ...rolesOn(new VirtualClock(), named), cutoff })
    let state = stepKeeper(initialKeeper, { type: 'arm', table, beatLimitMs: 300 }, 0).state
    const tell = (link: string, command: string): void => { state = stepKeeper(state, { type: 'exchange', link, kind: 'write', command }, 0).state }
    const sent = (): string[] => ['cutoff', 'contactor'].flatMap(link =>
      stepKeeper(state, { type: 'refresh-due', link }, 0).effects.flatMap(effect => effect.do === 'refresh' ? effect.command : []))
    expect(sent()).toEqual([])
    tell('contactor', 'MAIN:CLOS LOW')
    expect(sent()).toEqual(['MAIN:HOLD'])
    tell('cutoff', 'OUTP:CLOS')
    expect(sent()).toEqual(['OUTP:HOLD', 'MAIN:HOLD'])
    tell('contactor', 'MAIN:OPEN')
    expect(sent()).toEqual(['OUTP:HOLD'])
  })
})

/** A keeper that owns three simulated instruments around a unit, in virtual time. */
async function aroundUnit(work: (stand: Awaited<ReturnType<typeof standOf>>) => Promise<void>): Promise<void> {
  const clock = new VirtualClock()
  const stand = await clock.run(standOf(clock))
  await clock.run(work(stand))
  await clock.run(stand.host.close())
}

async function standOf(clock: VirtualClock) {
  const unit = new PlainUnit()
  const setup = (name: string) => ({ name, clock, seed: `keeper ${name}` })
  const contactor = new MainsContactor(setup('contactor'), unit)
  const drive = new SimSignalGenerator('signal-generator-a', { ...setup('drive'), reference: () => 0 }, unit)
  const loads = new SimLoadBank(setup('loads'), unit)
  const sessions = new Map<string, Session>()
  const link = (instrument: SimInstrument, profile: Parameters<typeof sessionOptionsOf>[0]): void => {
    const { open } = memoryLink(clock, { onBytes: (chunk, reply) => instrument.receive(chunk, reply) })
    sessions.set(instrument.name, new Session(open, { name: instrument.name, clock, ...sessionOptionsOf(profile) }))
  }
  link(contactor, shippedProfile('mains-contactor-a', 'mains-contactor'))
  link(drive, shippedProfile('signal-generator-a', 'signal-generator'))
  link(loads, shippedProfile('load-bank-a', 'load-bank'))
  const host = new KeeperHost({ sessions, livenessClock: clock, benchClock: clock, log: () => {} })
  const portOf = (name: string): ScpiPort => ({
    name, query: (command, options) => host.query(name, command, options), write: (command, options) => host.write(name, command, options),
  })
  const roles = rolesOn(clock, portOf)
  const table = compileTable(roles)
  host.configure(table)
  for (const role of [roles.generator, roles['mains-switch'], roles.load]) await role.prepare()
  await roles.load.connect(1, 8)
  const live = async (): Promise<void> => {
    host.arm(table, 1000)
    await roles['mains-switch'].close('full')
    await roles.generator.setTones(1, [{ frequencyHz: 1000, levelV: 0.5 }])
    await roles.generator.setOutput(1, true)
  }
  const beats = async (count: number): Promise<void> => {
    for (let i = 0; i < count; i++) { host.beat(true); await sleep(clock, 250) }
  }
  return { clock, unit, contactor, drive, loads, host, roles, table, live, beats }
}

describe('the keeper around a unit', () => {
  it('refuses to power or to drive it before it is armed', () => aroundUnit(async ({ roles, unit }) => {
    await expect(roles['mains-switch'].close('series')).rejects.toMatchObject({ code: 'REFUSED' })
    await expect(roles.generator.setOutput(1, true)).rejects.toMatchObject({ code: 'REFUSED' })
    expect([unit.mains, unit.sourceRmsV(0)]).toEqual([null, 0])
  }))

  it('holds the contactor for as long as it is armed and beats come', () => aroundUnit(async ({ live, beats, unit }) => {
    await live()
    await beats(60)
    expect(unit.mains).not.toBeNull()
  }))

  it('mutes, opens and reads both back when beats end, and the load stays', () => aroundUnit(async ({ live, beats, unit, host, drive, contactor, clock, loads }) => {
    await live()
    await beats(20)
    await sleep(clock, 3000)
    expect([unit.mains, unit.sourceRmsV(0), host.mode]).toEqual([null, 0, 'safe'])
    const [muted, opened] = [drive.device.effects.last('output-1')!, contactor.device.effects.last('mains')!]
    expect([muted.value, opened.value]).toEqual([0, 0])
    expect(muted.atMs).toBeLessThanOrEqual(opened.atMs)
    expect(loads.ohm(1)).not.toBeNull()
  }))

  it('withholds power and drive after a stop until it is acknowledged', () => aroundUnit(async ({ live, host, roles, unit, clock }) => {
    await live()
    const report = await host.safeOff('test', 'a person')
    expect(report.links.map(({ link, verified }) => [link, verified])).toEqual([['drive', true], ['contactor', true]])
    await sleep(clock, 200)
    await expect(roles['mains-switch'].close('series')).rejects.toMatchObject({ code: 'TRIPPED' })
    await expect(roles.generator.setOutput(1, true)).rejects.toMatchObject({ code: 'TRIPPED' })
    expect([unit.mains, unit.sourceRmsV(0)]).toEqual([null, 0])
  }))

  it('says that a contactor did not open whose pole is welded, and a generator did not mute only where it tells', () => aroundUnit(
    async ({ live, host, contactor, drive, unit }) => {
      await live()
      contactor.device.faults.set({ kind: 'relay-welds' })
      drive.device.faults.set({ kind: 'output-stays-on' })
      const report = await host.safeOff('test', 'a person')
      const seen = Object.fromEntries(report.links.map(({ link, verified }) => [link, verified]))
      // A generator that says that it is muted and is not can only be heard: its read-back is all that there is here.
      expect([seen, report.verifiedMs]).toEqual([{ drive: true, contactor: false }, null])
      expect(unit.mains).not.toBeNull()
      expect(unit.sourceRmsV(0)).toBeGreaterThan(0.4)
    }))
})
