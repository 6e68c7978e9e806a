/** Burn-ins over real drivers, sessions and keeper, on simulated instruments around a simulated amplifier. */
import { describe, expect, it } from 'vitest'
import type { UnitFault } from '../../mocks/units/faults.ts'
import { makeUnit } from '../../mocks/units/make-unit.ts'
import { pavilionAmplifier } from '../../mocks/units/scenario.ts'
import type { SimulatedUnit } from '../../mocks/units/amplifier.ts'
import { powerOn, virtualStand } from '../../nights/virtual-stand.ts'
import { ProfileFolder } from '../../src/app/files.ts'
import { BenchError } from '../../src/base/errors.ts'
import { burnInParameters, burnInWork } from '../../src/burn-in/work.ts'
import { runPower } from '../../src/powering/runner.ts'
import { unitRequest } from '../../src/schema/stand.ts'
import { unitProfile, type UnitProfile } from '../../src/schema/unit-profile.ts'

const pavilion = new ProfileFolder(null).unit('saltmarsh-pavilion-amplifier').profile
const requestFor = (profile: UnitProfile) => unitRequest.parse({
  unit: profile.unit, specimen: 'unit-1',
  unpowered: {
    by: 'a qualified person', earthBondOhm: 0.05, insulationOhm: 40e6, insulationV: 500,
    fuse: profile.supply.kind === 'mains' ? profile.supply.fuse : '', mainsPartsProven: true, railsNotShorted: true,
  },
})

type Stand = Awaited<ReturnType<typeof virtualStand>>
type Powered = Awaited<ReturnType<typeof powerOn>>
interface Asked { readonly parameters?: object; readonly before?: (stand: Stand, powered: Powered) => void }

async function run(unit: SimulatedUnit, profile: UnitProfile, seed: number, { parameters = {}, before = () => {} }: Asked = {}) {
  const stand = await virtualStand(unit, seed)
  const powered = await powerOn(stand, profile, requestFor(profile))
  before(stand, powered)
  const asked = burnInParameters.parse({ programme: [{ kind: 'tone', forS: 7200 }], ...parameters })
  const ended = await stand.clock.run(runPower(powered.handles,
    (power, sweep) => burnInWork.run(power, sweep, asked)).finally(powered.stopPulse))
  const events = await stand.store.events('run-1')
  return { ...ended, stand, events, latched: powered.handles.power.supervisor.latched, power: powered.handles.power }
}

const amplifier = (seed: number, faults: readonly UnitFault[] = []): SimulatedUnit => pavilionAmplifier(seed, faults).made.world
const slow = 120_000

describe('a burn-in over the wire', () => {
  it('of a sound amplifier counts its hours, and ends off, dead, unharmed, with no drift shown', async () => {
    const parameters = { programme: [{ kind: 'tone', forS: 2.5 * 3600 }], warmMostS: 3000, lookS: 300 }
    const { state, result, isDead, stand, latched, events } = await run(amplifier(11), pavilion, 11, { parameters })
    expect([state, latched?.text ?? null, result?.grade, isDead]).toEqual(['done', null, 'accept', true])
    expect([stand.sim.isOn, stand.sim.unit.harms]).toEqual([false, []])
    const { burnIn } = result!.unit!
    expect(burnIn!.countedS).toBeGreaterThanOrEqual(2.5 * 3600)
    for (const { of, change, u } of burnIn!.drifts) {
      if (/^(mains\.voltage|rail|.*\.gain|.*\.thd|.*\.dc)/.test(of)) expect(Math.abs(change), of).toBeLessThan(4 * u)
    }
    expect(burnIn!.drifts.map(({ of }) => of)).toEqual(expect.arrayContaining(['rail.plus', 'bandstand.gain', 'tea-room.thd', 'warm.heatsink']))
    expect(events.filter(({ kind }) => kind === 'spot').length).toBeGreaterThanOrEqual(4)
  }, slow)

  const wrong: [UnitFault, RegExp, number][] = [['runaway', /^idle\.|^warm\.|^mains\./, 900], ['intermittent', /^output\.tea-room\.level$/, 3600], ['shorted-output', /./, 60]]
  it.each(wrong)('finds %s, and leaves it off, dead and unharmed', async (fault, id, withinS) => {
    const { state, result, latched, stand, isDead, events } = await run(amplifier(11, [fault]), pavilion, 11)
    expect([state, result?.grade, stand.sim.isOn, isDead]).toEqual(['tripped', 'reject', false, true])
    expect(latched!.id, latched!.text).toMatch(id)
    const trip = events.find(({ kind }) => kind === 'trip')!
    expect(trip.atMs / 1000).toBeLessThan(withinS)
    expect(stand.sim.unit.harms.filter(({ kind }) => kind === 'output device failed')).toEqual([])
  }, slow)

  it('finds an offset that drifts before it passes its limit by much', async () => {
    for (let seed = 3; seed < 6; seed++) {
      const made = makeUnit('solid-state', seed, { faults: ['offset-drift'] })
      const profile = unitProfile.parse(made.printed.profile)
      const { state, latched, stand } = await run(made.world, profile, seed)
      expect([state, stand.sim.isOn]).toEqual(['tripped', false])
      expect(latched!.id, latched!.text).toMatch(/\.dc\.(high|low)$/)
      expect(Math.abs(Number(/dc (-?[\d.]+) mV/.exec(latched!.text)![1]))).toBeLessThan(75)
    }
  }, slow)

  it('counts no time while the mains sags', async () => {
    const { result, state } = await run(amplifier(14), pavilion, 14, {
      parameters: { programme: [{ kind: 'tone', forS: 1200 }] },
      before: ({ sim, clock }) => {
        const feed = (rmsV: number) => sim.unit.setMains({ rmsV, frequencyHz: 50, seriesOhm: 0 })
        clock.after(600_000, () => feed(213))
        clock.after(690_000, () => feed(230))
      },
    })
    expect(state).toBe('done')
    const sag = result!.unit!.burnIn!.lost.find(({ why }) => why.includes('mains'))!
    expect(sag.seconds).toBeGreaterThan(88)
    expect(sag.seconds).toBeLessThan(95)
  }, slow)

  it('is off when nobody beats any more: the keeper opens the mains, and nothing closes it again', async () => {
    const { state, stand, power, events } = await run(amplifier(15), pavilion, 15, {
      before: ({ clock }, { stopPulse }) => { clock.after(600_000, stopPulse) },
    })
    expect([state, stand.sim.isOn]).toEqual(['tripped', false])
    expect(events.find(({ kind }) => kind === 'trip')!.atMs).toBeLessThan(605_000)
    expect(() => power.supervisor.permit(0, 0)).toThrow(/withheld/)
    await expect(stand.clock.run(stand.composed.roles['mains-switch']!.close('full'))).rejects.toThrow()
    expect(stand.sim.isOn).toBe(false)
  }, slow)

  it('is off when a person stops it, with what had counted', async () => {
    const { state, result, stand, isDead } = await run(amplifier(16), pavilion, 16, {
      before: ({ clock, keeper }, { handles }) => {
        clock.after(900_000, () => { void keeper.safeOff('stopped'); handles.abort(new BenchError('STOPPED', 'a person')) })
      },
    })
    expect([state, stand.sim.isOn, isDead, result?.grade]).toEqual(['stopped', false, true, 'cannot tell'])
    expect(result!.unit!.burnIn!.countedS).toBeGreaterThan(800)
  }, slow)
})
