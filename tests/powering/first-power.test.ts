import { describe, expect, it } from 'vitest'
import { firstPower, firstPowerParameters, firstPowerSteps, waysFor } from '../../src/powering/first-power.ts'
import { runPower } from '../../src/powering/runner.ts'
import type { UnitProfile } from '../../src/schema/unit-profile.ts'
import { profile, sitting, ways, type Sitting, type Wrongs } from './fake-stand.ts'

const parameters = firstPowerParameters.parse({ limitedS: 20, fullS: 30, warmS: 60 })

async function run(s: Sitting) {
  return await s.sim.clock.run(
    runPower(s.handles, (power, sweep) => firstPower(power, sweep, parameters)).finally(() => s.stopPulse()))
}

/** Runs with a wrong that begins once mains has been straight for `afterMs`. */
async function withWrong(wrong: Wrongs, afterMs: number, options: Parameters<typeof sitting>[0] = {}) {
  const s = await sitting(options)
  const { sim } = s
  let begun = false
  const look = (): void => {
    if (sim.way?.name === 'straight' && !begun) {
      begun = true
      sim.clock.after(afterMs, () => { sim.rails(); Object.assign(sim.wrong, wrong); wrongMs = sim.clock.monotonicMs() })
    }
    if (!begun) sim.clock.after(100, look)
  }
  let wrongMs = NaN
  look()
  const ended = await run(s)
  const offMs = sim.acts.find(({ what, atMs }) => what === 'off' && atMs >= wrongMs)?.atMs ?? NaN
  return { s, ended, reactionMs: offMs - wrongMs }
}

describe('first power', () => {
  it('goes from the most limited way to the full one, ends off, dead and judged', async () => {
    const s = await sitting()
    const { state, result, isDead } = await run(s)
    expect(state).toBe('done')
    expect(isDead).toBe(true)
    expect(s.sim.acts.map(({ what }) => what)).toEqual(['close lamp', 'close half', 'close straight', 'open', 'off'])
    expect(s.sim.isOn).toBe(false)
    expect(result).toMatchObject({ grade: 'accept', part: 'unit-1' })
    expect(result!.criteria.map(({ name, where }) => `${name} ${where ?? ''}`.trim())).toEqual([
      'rail voltage plus', 'rail voltage minus', 'rail symmetry plus and minus', 'idle current left-idle',
      'dc at the output left', 'temperature heatsink', 'mains power',
    ])
    const texts = (await s.events()).map(({ text }) => text)
    expect(texts.some(text => text.includes('every rail measured below 60 V'))).toBe(true)
    expect(texts[0]).toContain('armed')
  })

  it('gives a unit that may not run low nothing but full mains', () => {
    const switching = profile()
    const supply = { ...switching.supply, mayRunLow: false } as typeof switching.supply
    expect(waysFor({ ...switching, supply }, ways).map(({ name }) => name)).toEqual(['straight'])
    expect(waysFor(switching, ways).map(({ name }) => name)).toEqual(['lamp', 'half', 'straight'])
    expect(firstPowerSteps(switching, ways, parameters).map(({ seconds }) => seconds)).toEqual([20, 20, 90])
  })

  it('waits with the mains open at each stage until a person says go on', async () => {
    const two = profile({
      stages: [{ name: 'supply', rails: ['plus', 'minus'] }, { name: 'whole', outputs: true, rails: ['plus', 'minus'] }],
    })
    const s = await sitting({ profile: two, pauseMs: 600_000 })
    const { state } = await run(s)
    expect(state).toBe('done')
    const firstMs = s.sim.acts[0]!.atMs
    expect(firstMs).toBeGreaterThan(600_000)
    const opened = s.sim.acts.findIndex(({ what }) => what === 'open')
    expect(s.sim.acts[opened + 1]!.atMs - s.sim.acts[opened]!.atMs).toBeGreaterThan(600_000)
  })

  it('gives no mains under a cover that was left open while it waited', async () => {
    const s = await sitting({ pauseMs: 60_000 })
    s.sim.clock.after(30_000, () => { s.sim.wrong.coverOpen = true })
    const { state } = await run(s)
    expect(state).toBe('refused')
    expect(s.sim.acts.map(({ what }) => what).filter(what => what.startsWith('close'))).toEqual([])
  })

  it('stops at the limited way where a rail does not come up, and gives no full mains', async () => {
    const s = await sitting({ wrong: { deadRail: 'minus' } })
    const { state, result, isDead } = await run(s)
    // Its probe showed nothing while the mains was on: what it reads now shows nothing either.
    expect([state, isDead]).toEqual(['tripped', false])
    expect(result).toMatchObject({ grade: 'reject' })
    expect(result!.reason).toContain('minus did not come up')
    expect(s.sim.acts.map(({ what }) => what)).toEqual(['close lamp', 'open', 'off', 'off'])
  })

  it('takes a short for what it is behind the series resistance', async () => {
    const s = await sitting({ wrong: { isShort: true } })
    const { state } = await run(s)
    expect(state).toBe('tripped')
    expect(s.handles.power.supervisor.latched!.id).toBe('mains.current')
    expect(s.sim.acts.map(({ what }) => what)).not.toContain('close straight')
  })

  it('judges an idle current below its window when warm', async () => {
    const s = await sitting({ wrong: { idleA: 0.012 } })
    const { state } = await run(s)
    expect(state).toBe('tripped')
    expect(s.handles.power.supervisor.latched!.id).toBe('idle.left-idle.low')
  })

  const slowHeat = profile({ temperatures: [{ place: 'heatsink', maxC: 80, riseMaxKPerMin: 100 }] })
  const trips: [string, Wrongs, string, number, UnitProfile?][] = [
    ['DC at the output', { dcV: 0.4 }, 'left.dc.high', 6000],
    ['DC of the other sign', { dcV: -0.4 }, 'left.dc.low', 6000],
    ['idle current', { idleA: 0.2 }, 'idle.left-idle.high', 6000],
    ['a rail that goes away', { deadRail: 'plus' }, 'rail.plus.low', 20_000],
    ['rails that differ within their tolerance', { plusShare: 0.93 }, 'rail.plus.mirror', 40_000],
    ['heat', { heatC: 85 }, 'warm.heatsink.hot', 12_000, slowHeat],
    ['heat that rises too fast', { heatC: 55 }, 'warm.heatsink.rise', 12_000],
    ['a sagging mains', { mainsV: 180 }, 'mains.under', 2500],
    ['too much mains', { mainsV: 262 }, 'mains.over', 1500],
    ['a short', { isShort: true }, 'mains.current', 1500],
    ['a meter that is silent', { meterSilent: true }, 'stale.mains.current', 5000],
    ['an open cover', { coverOpen: true }, 'cover.open', 1500],
    ['a contactor that dropped', { staysOpen: true }, 'mains.contact', 2500],
  ]
  it.each(trips)('trips on %s, in time, and gives no mains afterwards', async (_, wrong, id, withinMs, unit = profile()) => {
    const { s, ended, reactionMs } = await withWrong(wrong, 20_000, { profile: unit })
    const { power } = s.handles
    expect(ended.state).toBe('tripped')
    expect(power.supervisor.latched!.id).toBe(id)
    expect(reactionMs).toBeLessThanOrEqual(withinMs)
    expect(s.sim.isOn).toBe(false)
    const { closeMains, drive } = await import('../../src/powering/mains.ts')
    const { clock } = s.sim
    await expect(clock.run(closeMains(power, ways[0]!))).rejects.toMatchObject({ code: 'TRIPPED' })
    power.state.way = ways[0]!
    await expect(clock.run(drive(power, 'left', [{ frequencyHz: 1000, levelV: 0.1 }]))).rejects.toMatchObject(
      { code: 'TRIPPED' })
    expect(s.sim.driven.has(1)).toBe(false)
  })

  it('says that a rail whose bleeder is open is not safe, with its volts', async () => {
    const s = await sitting({ wrong: { openBleeder: true } })
    const { state, isDead } = await run(s)
    expect(state).toBe('tripped')
    expect(isDead).toBe(false)
    const texts = (await s.events()).map(({ text }) => text)
    expect(texts.some(text => /NOT SAFE TO TOUCH \(plus \d+\.\d V/.test(text))).toBe(true)
  })

  it('calls a rail unmeasured whose probe came off', async () => {
    const { s, ended } = await withWrong({ probeOff: 'plus' }, 32_000)
    expect(ended.isDead).toBe(false)
    const touch = (await s.events()).filter(({ kind }) => kind === 'touch').map(({ text }) => text)
    expect(touch.at(-1)).toContain('UNMEASURED')
  })

  it('says that a welded contactor is welded and stays unsafe', async () => {
    const { s, ended } = await withWrong({ welded: true }, 1000)
    expect(ended.state).toBe('tripped')
    expect(s.handles.power.supervisor.latched!.text).toContain('after it was told to open')
    expect(ended.isDead).toBe(false)
  })

  it('refuses a contactor that is closed before it was told to', async () => {
    const s = await sitting({ wrong: { welded: true } })
    const { state } = await run(s)
    expect(state).toBe('refused')
    expect(s.sim.acts.filter(({ what }) => what.startsWith('close'))).toEqual([])
  })

  it('refuses a unit that may take a tenth of its current past the open contactor, the meter being what it is', async () => {
    const s = await sitting({ wrong: { leakA: 0.158 } })
    expect((await run(s)).state).toBe('refused')
    expect(s.sim.acts.filter(({ what }) => what.startsWith('close'))).toEqual([])
    const sound = await sitting({ wrong: { leakA: 0.01 } })
    expect((await run(sound)).state).toBe('done')
  })

  it('never powers a valve stage whose load is open', async () => {
    const valve = profile({
      channels: [{
        name: 'left', input: { impedanceOhm: 47_000, levelMaxV: 2 },
        output: { kind: 'line-transformer', isValve: true, loadOhm: 8, ratedW: 60, dcMaxV: 0.05 },
      }],
    })
    const refused = await sitting({ profile: valve, wrong: { loadOpen: true } })
    expect((await run(refused)).state).toBe('refused')
    const { ended, s, reactionMs } = await withWrong({ loadOpen: true }, 5000, { profile: valve })
    expect(ended.state).toBe('tripped')
    expect(s.handles.power.supervisor.latched!.id).toBe('load.open')
    expect(reactionMs).toBeLessThan(4000)
  })

  it('is off when a person stops while it waits', async () => {
    const s = await sitting({ pauseMs: 1e9 })
    const { BenchError } = await import('../../src/base/errors.ts')
    s.sim.clock.after(20_000, () => {
      void s.guard.safeOff('stopped')
      s.handles.abort(new BenchError('STOPPED', 'a person'))
    })
    expect((await run(s)).state).toBe('stopped')
    expect(s.sim.acts.some(({ what }) => what.startsWith('close'))).toBe(false)
  })

  it('trips where the off was not read back', async () => {
    const s = await sitting({ wrong: { offUnread: true } })
    const { state } = await run(s)
    expect(state).toBe('tripped')
    expect(s.handles.power.supervisor.latched!.id).toBe('off.unverified')
  })
})
