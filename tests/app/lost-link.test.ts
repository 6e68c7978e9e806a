/** Goal: a link to something that can energise never goes down unnoticed, and never comes back unnoticed. */
import { describe, expect, it } from 'vitest'
import { scenarioHealthyRack } from '../../mocks/bench/scenarios.ts'
import { virtualBench } from '../nights/virtual-bench.ts'

const quick = {
  soakS: 60, minStepS: 60, maxStepS: 600, stallAfterS: 600, watchS: 60, targetV: 150, slewVPerS: 5,
  stepShare: 0.25,
}

/** A night in which the link of `instrument` is unplugged once, at a moment when nothing is asked of it. */
async function unplugged(instrument: string) {
  const bench = await virtualBench(scenarioHealthyRack(2, 5), 5)
  const { clock, sim, keeper } = bench
  let at: { modeBefore: string; modeAfter: string; busV: number } | null = null
  clock.after(300_000, () => {
    const modeBefore = keeper.mode
    sim.instrument(instrument).device.disconnect()
    at = { modeBefore, modeAfter: keeper.mode, busV: sim.now().busV() }
  })
  const run = await bench.night({ parameters: quick })
  return { bench, run, at: at! as { modeBefore: string; modeAfter: string; busV: number } }
}

describe('a link that drops once in the night, and could be opened again at once', () => {
  it.each(['psu', 'cutoff', 'relays'])('%s: safe-off in the same moment, latched, tripped', async instrument => {
    const { bench, run, at } = await unplugged(instrument)
    expect(at).toMatchObject({ modeBefore: 'armed', modeAfter: 'safing' })
    expect(at.busV).toBeGreaterThan(10)
    expect(run.state).toBe('tripped')
    expect(bench.sim.instruments.cutoff.contact).toBe(false)
    expect(bench.sim.now().busV()).toBeLessThan(60)
    const trips = (await bench.store.events(run.id)).filter(({ kind }) => kind === 'trip')
    expect(trips.map(({ text }) => text).join()).toContain(`the link to ${instrument} is lost`)
    expect(bench.daemon.status().latched?.text).toContain('is lost')
  })
})

describe('a link that drops while nothing runs', () => {
  it.each(['bus-dmm', 'psu', 'scanner'])('%s: is opened anew by the next start, and the night is as any other', async instrument => {
    const bench = await virtualBench(scenarioHealthyRack(2, 5), 5)
    bench.sim.instrument(instrument).device.disconnect()
    expect((await bench.night({ parameters: quick })).state).toBe('done')
  }, 60_000)

  it('and does not come back: the start is refused while somebody is there to hear it', async () => {
    const bench = await virtualBench(scenarioHealthyRack(2, 5), 5)
    const { device } = bench.sim.instrument('bus-dmm')
    device.faults.set({ kind: 'silent' })
    device.disconnect()
    await expect(bench.night({ parameters: quick })).rejects.toMatchObject({ code: 'LINK_TIMEOUT', message: expect.stringContaining('bus-dmm') as string })
    expect(await bench.store.listRuns(5)).toEqual([])
  }, 60_000)
})

describe('an idle bench', () => {
  it('cannot be energised by its drivers: output, cutoff and bus relays stay as they are', async () => {
    const { clock, composed: { roles }, keeper, sim } = await virtualBench(scenarioHealthyRack(2, 5), 5)
    expect(keeper.mode).toBe('idle')
    const refused = { code: 'REFUSED' }
    await expect(clock.run(roles.supply!.setOutput(true))).rejects.toMatchObject(refused)
    await expect(clock.run(roles.cutoff!.close())).rejects.toMatchObject(refused)
    await expect(clock.run(roles.positions!.hold([1]))).rejects.toMatchObject(refused)
    expect(sim.instruments.cutoff.contact).toBe(false)
    expect((await clock.run(roles.supply!.settings())).on).toBe(false)
    // Set-up and everything that makes safer still passes.
    await clock.run(roles.supply!.setVoltage(5))
    await clock.run(roles.supply!.protect(100, 0.1))
    await clock.run(roles.cutoff!.open())
    await clock.run(roles.positions!.releaseAll())
  })
})
