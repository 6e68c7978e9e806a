/** Units through the application: plan, hold points, trips, stops, a crash; a simulated amplifier on the stand. */
import { mkdirSync, mkdtempSync, readFileSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { describe, expect, it } from 'vitest'
import { parse, stringify } from 'yaml'
import type { UnitFault } from '../../mocks/units/faults.ts'
import { monitorAmplifier, pavilionAmplifier } from '../../mocks/units/scenario.ts'
import { goesOn, standDaemon, type StandDaemon } from '../../nights/virtual-stand-daemon.ts'
import { packageFile } from '../../src/base/paths.ts'
import type { Daemon } from '../../src/app/daemon.ts'
import { poweringRequest, poweringStatus, type PoweringRequest, type PoweringStatus } from '../../src/schema/powering.ts'

const unpowered = {
  by: 'a qualified person', earthBondOhm: 0.05, insulationOhm: 40e6, insulationV: 500, fuse: 'T 2 A',
  mainsPartsProven: true, railsNotShorted: true,
}
const asked = (over: Partial<Record<keyof PoweringRequest, unknown>> = {}): PoweringRequest => poweringRequest.parse({
  sequence: 'first-power', unit: 'saltmarsh-pavilion-amplifier', specimen: 'pavilion-1', person: 'Ida', cautionsConfirmed: true,
  unpowered, parameters: { limitedS: 20, fullS: 60, warmS: 300 }, ...over,
})
const open = async (faults: readonly UnitFault[] = [], seed = 11): Promise<StandDaemon> =>
  await standDaemon(pavilionAmplifier(seed, faults).made.world, { seed })

async function run(s: StandDaemon, request = asked(), daemon: Daemon = s.daemon) {
  goesOn(s, daemon)
  const record = await s.clock.run(daemon.powering.begin(request))
  const ended = await s.clock.run(daemon.ended(record.id))
  return { record, ended, events: await s.store.events(record.id), results: await s.store.results(record.id) }
}
/** Begins and waits until `when` holds of its status. */
async function until(s: StandDaemon, when: (status: PoweringStatus) => boolean, request = asked()): Promise<string> {
  goesOn(s, s.daemon)
  const record = await s.clock.run(s.daemon.powering.begin(request))
  for (let i = 0; i < 20_000; i++) {
    const status = s.daemon.powering.status()
    if (status && when(status)) return record.id
    if (!status) break
    await s.clock.run(new Promise(resolve => { s.clock.after(100, () => resolve(null)) }))
  }
  throw new Error('it never came to that')
}
const isOnMains = ({ way }: PoweringStatus): boolean => way !== null

type OpenProfile = { unit: string; stages: Record<string, unknown>[] }
/** A folder with the pavilion's amplifier as somebody's own, changed. */
function ownProfile(change: (profile: OpenProfile) => void): string {
  const folder = mkdtempSync(join(tmpdir(), 'own-units-'))
  const profile = parse(readFileSync(packageFile('profiles', 'units', 'saltmarsh-pavilion-amplifier.yaml'), 'utf8')) as OpenProfile
  profile.unit = 'own-amplifier'
  change(profile)
  mkdirSync(join(folder, 'units'))
  writeFileSync(join(folder, 'units', 'own-amplifier.yaml'), stringify(profile))
  return folder
}
/** One part, screened. */
let screened = 0
async function proven({ store }: StandDaemon, part: string, grade: 'accept' | 'reject'): Promise<void> {
  const id = `screened-${++screened}`
  await store.createRun({
    id, sequence: 'screen', bench: 'unit-stand', state: 'running', startedWallMs: screened, endedWallMs: null, person: 'Ida', use: 'touch-safe',
    software: 'test', setup: {},
  }, [])
  await store.saveResult(id, {
    position: part, part, profile: 'parts list', grade, provisional: false, disposition: grade === 'accept' ? 'use' : 'replace', pConform: 1,
    reason: '', criteria: [], figures: {},
  })
  await store.finishRun(id, 'done', screened)
}

describe('a unit through the application', () => {
  it('is planned without touching anything: steps, what is read, no refusals', async () => {
    const s = await open()
    const plan = await s.clock.run(s.daemon.powering.plan(asked()))
    expect(plan.refusals).toEqual([])
    expect(plan.steps[0]!.name).toMatch(/^supply, /)
    expect(plan.watched).toContain('rail.plus')
    expect(plan.watched).toContain('bandstand.dc')
    expect(s.sim.isOn).toBe(false)
    expect(s.daemon.status()).toMatchObject({ powering: null, energy: 'off' })
  })

  it('gets its first power, waits for a person at each stage, and ends off, dead, on record', async () => {
    const s = await open()
    const seen: PoweringStatus[] = []
    s.daemon.subscribe(item => { if (item.type === 'status' && item.status.powering) seen.push(item.status.powering) })
    const { record, ended, events, results } = await run(s)
    expect(ended.state).toBe('done')
    expect(results).toMatchObject([{ position: 'unit', part: 'pavilion-1', profile: 'saltmarsh-pavilion-amplifier', grade: 'accept' }])
    expect(seen.filter(({ hold }) => hold !== null).map(({ hold }) => hold!.id)).toEqual(expect.arrayContaining(['stage.supply', 'stage.whole']))
    for (const status of seen) poweringStatus.parse(status)
    expect(events.filter(({ kind }) => kind === 'go-on').map(({ text }) => text)).toEqual(['Ida said to go on', 'Ida said to go on'])
    expect(s.sim.isOn).toBe(false)
    expect(s.daemon.status()).toMatchObject({ powering: null, energy: 'off', latched: null, unsafe: [] })
    expect((await s.store.run(record.id))!.setup).toMatchObject({ profile: { name: 'saltmarsh-pavilion-amplifier' }, request: { specimen: 'pavilion-1' } })
  })

  it('shows what it reads while mains is on', async () => {
    const s = await open()
    await until(s, status => status.stage === 'supply, full' && status.quantities.some(({ name, value }) => name === 'rail.plus' && (value ?? 0) > 30))
    expect(s.daemon.status()).toMatchObject({ energy: 'live', powering: { way: 'full', sequence: 'first-power' } })
    await s.clock.run(s.daemon.stop('enough'))
  })

  const refused: [string, Partial<Record<keyof PoweringRequest, unknown>>, string][] = [
    ['cautions nobody has read', { cautionsConfirmed: false }, 'cautions'],
    ['nobody there', { use: 'unattended' }, 'somebody there'],
    ['another fuse', { unpowered: { ...unpowered, fuse: 'T 6.3 A' } }, 'the fuse that is in'],
    ['no earth', { unpowered: { ...unpowered, earthBondOhm: 3 } }, 'earth bond'],
    ['a wire to nowhere', { wiring: { probes: { plus: 'nowhere' }, outputs: {}, thermometers: {} } }, 'no nowhere on the stand'],
    ['a wire of nothing that the unit has', { wiring: { probes: { pluss: 'minus' }, outputs: {}, thermometers: {} } }, 'pluss in the wiring'],
    ['a parameter that is none', { parameters: { warmS: -1 } }, 'warmS'],
    ['what is no profile', { unit: 'no-such-unit' }, 'no-such-unit'],
    ['a kind of run that is none yet', { parameters: { limitedM: 3 } }, 'limitedM'],
  ]
  it.each(refused)('is refused with %s, and nothing is switched', async (_, over, words) => {
    const s = await open()
    await expect(s.clock.run(s.daemon.powering.begin(asked(over)))).rejects.toThrow(words)
    expect(await s.store.listRuns(5)).toEqual([])
    expect(s.sim.contactor.device.effects.list('close')).toEqual([])
    expect(s.daemon.powering.goesOn).toBe(false)
  })

  it('is refused until the parts of a stage are proven on record, under the name of this one unit', async () => {
    const profiles = ownProfile(profile => { profile.stages[0]!['parts'] = ['C1', 'R7'] })
    const s = await standDaemon(pavilionAmplifier(11).made.world, { seed: 11, profiles })
    const request = asked({ unit: 'own-amplifier' })
    const refusals = async (): Promise<string[]> =>
      (await s.clock.run(s.daemon.powering.plan(request))).refusals.map(({ have }) => have)
    expect(await refusals()).toEqual(['C1 R7 not proven'])
    await proven(s, 'pavilion-1-C1', 'accept')
    await proven(s, 'pavilion-1-R7', 'reject')
    expect(await refusals()).toEqual(['R7 not proven'])
    await proven(s, 'pavilion-1-R7', 'accept')
    expect(await refusals()).toEqual([])
  })

  it('lets nothing else begin meanwhile, and can be stopped: off, dead, latched until a person acknowledges', async () => {
    const s = await open()
    const id = await until(s, isOnMains)
    await expect(s.clock.run(s.daemon.powering.begin(asked()))).rejects.toMatchObject({ code: 'REFUSED' })
    await expect(s.clock.run(s.daemon.acknowledge('why', 'Ida'))).rejects.toMatchObject({ code: 'REFUSED' })
    const report = await s.clock.run(s.daemon.stop('smoke'))
    expect(report.verifiedMs).not.toBeNull()
    expect(s.sim.isOn).toBe(false)
    const ended = await s.clock.run(s.daemon.ended(id))
    expect(ended.state).toBe('stopped')
    expect(s.daemon.status().latched!.text).toContain('smoke')
    await expect(s.clock.run(s.daemon.powering.begin(asked()))).rejects.toMatchObject({ code: 'TRIPPED' })
    await s.clock.run(s.daemon.acknowledge('a resistor was hot, replaced', 'Ida'))
    expect((await run(s)).ended.state).toBe('done')
  })

  it('is off between two stages once the rails were measured dead, and what is to come does not shrink while it waits', async () => {
    const s = await open()
    const record = await s.clock.run(s.daemon.powering.begin(asked()))
    const wait = async (ms: number): Promise<void> => { await s.clock.run(new Promise<void>(resolve => { s.clock.after(ms, resolve) })) }
    const held = async (id: string): Promise<PoweringStatus> => {
      while (s.daemon.powering.status()?.hold?.id !== id) await wait(500)
      return s.daemon.powering.status()!
    }
    const first = await held('stage.supply')
    await wait(100_000)
    expect(s.daemon.powering.status()!.remainingS).toBeCloseTo(first.remainingS!, 0)
    await s.clock.run(s.daemon.powering.goOn('stage.supply', 'Ida'))
    await wait(2000)
    expect(s.daemon.status().energy).toBe('live')
    const second = await held('stage.whole')
    expect(s.daemon.status().energy).toBe('off')
    expect(second.remainingS!).toBeLessThan(first.remainingS! - 90)
    await s.clock.run(s.daemon.stop('enough'))
    await s.clock.run(s.daemon.ended(record.id))
  })

  it('withholds mains after a stop while it waits for a person', async () => {
    const s = await open()
    const record = await s.clock.run(s.daemon.powering.begin(asked()))
    while (!s.daemon.powering.status()?.hold) await s.clock.run(new Promise(resolve => { s.clock.after(500, () => resolve(null)) }))
    await s.clock.run(s.daemon.stop('not today'))
    expect((await s.clock.run(s.daemon.ended(record.id))).state).toBe('stopped')
    await expect(s.daemon.powering.goOn('stage.supply', 'Ida')).rejects.toMatchObject({ code: 'REFUSED' })
    expect(s.sim.contactor.device.effects.list('close')).toEqual([])
  })

  it('goes on only by the step that waits, and with somebody at the bench', async () => {
    const s = await open()
    const record = await s.clock.run(s.daemon.powering.begin(asked()))
    while (!s.daemon.powering.status()?.hold) await s.clock.run(new Promise(resolve => { s.clock.after(500, () => resolve(null)) }))
    await expect(s.clock.run(s.daemon.powering.goOn('stage.whole', 'Ida'))).rejects.toThrow('nothing waits for stage.whole')
    s.sim.switches.present = false
    await expect(s.clock.run(s.daemon.powering.goOn('stage.supply', 'Ida'))).rejects.toThrow('presence')
    expect(s.sim.isOn).toBe(false)
    await s.clock.run(s.daemon.stop('enough'))
    await s.clock.run(s.daemon.ended(record.id))
  })

  it('trips where nobody shows presence for as long as the bench asks', async () => {
    const s = await open()
    const { ended } = await run(s, asked({ parameters: { limitedS: 20, fullS: 60, warmS: 3600 } }))
    expect(ended.state).toBe('tripped')
    expect(s.daemon.status().latched!.text).toContain('nobody has shown presence')
    expect(s.sim.isOn).toBe(false)
  })

  it('says that a rail which could not be seen to die may not be touched, over a restart, until acknowledged', async () => {
    const s = await standDaemon(monitorAmplifier(22, ['open-bleeder']).made.world, { seed: 22 })
    const { ended } = await run(s, asked({ unit: 'saltmarsh-pavilion-monitor', unpowered: { ...unpowered, fuse: 'T 1 A' } }))
    expect(ended.state).toBe('tripped')
    expect(s.daemon.status().latched!.text).toContain('NOT SAFE: UNMEASURED')
    expect(s.daemon.status().unsafe).toMatchObject([{ position: 'unit', part: 'pavilion-1' }])
    const again = await s.restart()
    expect(again.status().latched!.text).toContain('NOT SAFE: UNMEASURED')
    await s.clock.run(again.acknowledge('proved dead by hand', 'Ida'))
    expect(again.status()).toMatchObject({ latched: null, unsafe: [] })
  })

  it('is off after a crash of the daemon, and nothing is known of its rails', async () => {
    const s = await open()
    const id = await until(s, isOnMains)
    expect(s.sim.isOn).toBe(true)
    const again = await s.restart()
    expect(s.sim.isOn).toBe(false)
    expect((await s.store.run(id))!.state).toBe('interrupted')
    expect(again.status().latched!.text).toContain('NOT SAFE: UNMEASURED')
    expect(again.status().unsafe).toHaveLength(1)
    await expect(s.clock.run(again.powering.begin(asked()))).rejects.toMatchObject({ code: 'TRIPPED' })
    await s.clock.run(again.acknowledge('proved dead by hand', 'Ida'))
    expect((await run(s, asked(), again)).ended.state).toBe('done')
  })

  const wait = async (s: StandDaemon, ms: number): Promise<void> => {
    await s.clock.run(new Promise<void>(resolve => { s.clock.after(ms, resolve) }))
  }
  const held = async (s: StandDaemon, id: string): Promise<void> => {
    while (s.daemon.powering.status()?.hold?.id !== id) await wait(s, 500)
  }

  it('says that a welded contactor was not read open, though the rails of this unit never stand high', async () => {
    const s = await open()
    const id = await until(s, isOnMains)
    s.sim.contactor.device.faults.set({ kind: 'relay-welded' } as never)
    await s.clock.run(s.daemon.stop('smoke'))
    await s.clock.run(s.daemon.ended(id))
    expect(s.sim.isOn).toBe(true)
    const touches = (await s.store.events(id)).filter(({ kind }) => kind === 'touch').map(({ text }) => text)
    expect(touches.at(-1)).toBe('NOT SAFE TO TOUCH: the mains was not read open')
    expect(s.daemon.status()).toMatchObject({ energy: 'unknown', unsafe: [{ part: 'pavilion-1' }] })
    expect(s.daemon.status().latched!.text).toContain('NOT SAFE: UNMEASURED')
    s.sim.contactor.device.faults.clear()
    expect((await s.restart()).status().latched!.text).toContain('NOT SAFE: UNMEASURED')
  })

  it('takes no acknowledgement while the contactor reads closed', async () => {
    const s = await open()
    const first = await until(s, isOnMains)
    s.sim.contactor.device.faults.set({ kind: 'relay-welded' } as never)
    await s.clock.run(s.daemon.stop('smoke'))
    await s.clock.run(s.daemon.ended(first))
    await expect(s.clock.run(s.daemon.acknowledge('a try', 'Ida'))).rejects.toThrow('the mains contactor reads closed')
    expect(s.daemon.status()).toMatchObject({ energy: 'unknown', unsafe: [{ part: 'pavilion-1' }] })
    s.sim.contactor.device.faults.clear()
    await s.clock.run(s.daemon.stop('once more'))
    await s.clock.run(s.daemon.acknowledge('the contactor was stuck, and is mended', 'Ida'))
    expect(s.daemon.status()).toMatchObject({ latched: null, energy: 'off' })
  })

  it('gives no mains under a cover that was left open while it waited', async () => {
    const s = await open()
    const { id } = await s.clock.run(s.daemon.powering.begin(asked()))
    await held(s, 'stage.supply')
    s.sim.switches.coverClosed = false
    await expect(s.clock.run(s.daemon.powering.goOn('stage.supply', 'Ida'))).rejects.toThrow('the cover is open')
    // It goes on waiting.
    expect(s.daemon.powering.status()!.hold!.id).toBe('stage.supply')
    expect(s.sim.contactor.device.effects.list('mains').filter(({ value }) => value !== 0)).toEqual([])
    s.sim.switches.coverClosed = true
    await s.clock.run(s.daemon.powering.goOn('stage.supply', 'Ida'))
    await wait(s, 2000)
    expect(s.sim.isOn).toBe(true)
    await s.clock.run(s.daemon.stop('enough'))
    await s.clock.run(s.daemon.ended(id))
  })

  it('is told when the keeper made the bench safe while it waited', async () => {
    const s = await open()
    const { id } = await s.clock.run(s.daemon.powering.begin(asked()))
    await held(s, 'stage.supply')
    await s.clock.run(s.host.safeOff('a hand at the keeper', 'a test'))
    expect((await s.clock.run(s.daemon.ended(id))).state).toBe('tripped')
    expect(s.daemon.status().latched!.text).toContain('a hand at the keeper')
  })

  it('runs unattended only where the bench may be, and after a first power that was well', async () => {
    const s = await open()
    const burn = asked({ sequence: 'burn-in', use: 'unattended', parameters: {} })
    const refusals = async (): Promise<string[]> => (await s.clock.run(s.daemon.powering.plan(burn))).refusals.map(({ what, have }) => `${what}: ${have}`)
    expect(await refusals()).toEqual(['first power of pavilion-1: none on record'])
    const attended = await s.clock.run(s.daemon.powering.plan({ ...burn, use: 'attended' }))
    expect(attended.refusals).toEqual([])
    expect(attended.warnings).toContain('first power of pavilion-1: none on record')
    await run(s)
    expect(await refusals()).toEqual([])
    const only = await standDaemon(pavilionAmplifier(11).made.world, { seed: 11, use: ['attended'], store: s.store })
    expect((await only.clock.run(only.daemon.powering.plan(burn))).refusals.map(({ what }) => what)).toEqual(['way of use'])
  })

  it('takes no time from a request that is to come from the record', async () => {
    const s = await open()
    const burn = asked({ sequence: 'burn-in', parameters: { alreadyCountedS: 3600 } })
    await expect(s.clock.run(s.daemon.powering.plan(burn))).rejects.toThrow('taken from the record')
  })

  it('holds another unit against its own profile', async () => {
    const s = await standDaemon(monitorAmplifier(4).made.world, { seed: 4 })
    const profile = 'saltmarsh-pavilion-monitor'
    const plan = await s.clock.run(s.daemon.powering.plan(asked({ unit: profile, specimen: 'monitor-1' })))
    expect(plan.refusals.map(({ what }) => what)).toEqual(['the fuse that is in'])
  })
})
