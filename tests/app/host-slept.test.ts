/** Goal: a host that slept or stood still while energy was on never goes on as if nothing had been. */
import { describe, expect, it } from 'vitest'
import { scenarioHealthyRack } from '../../mocks/bench/scenarios.ts'
import { virtualBench } from '../nights/virtual-bench.ts'

const quick = {
  soakS: 60, minStepS: 60, maxStepS: 600, stallAfterS: 600, watchS: 60, targetV: 150, slewVPerS: 5,
  stepShare: 0.25,
}

type Bench = Awaited<ReturnType<typeof virtualBench>>

async function nightWith(happens: (clock: Bench['clock']) => void) {
  const bench = await virtualBench(scenarioHealthyRack(2, 5), 5)
  let modeBefore = ''
  bench.clock.after(300_000, () => { modeBefore = bench.keeper.mode; happens(bench.clock) })
  const run = await bench.night({ parameters: quick })
  expect(modeBefore).toBe('armed')
  return { bench, run, events: await bench.store.events(run.id) }
}

describe('a host that sleeps while energy is on', () => {
  it.each([60_000, 10_000, 1200])('trips when monotonic time has a gap of %i ms', async ms => {
    const { bench, run, events } = await nightWith(clock => clock.sleepHost(ms))
    expect(run.state).toBe('tripped')
    expect(bench.sim.instruments.cutoff.contact).toBe(false)
    const why = events.filter(({ kind }) => kind === 'trip').map(({ text }) => text).join()
    expect(why).toMatch(/the host stood still for|no fresh heartbeat for/)
  })

  it('trips when only the wall shows it, since monotonic time may stand still asleep', async () => {
    const { bench, run, events } = await nightWith(clock => clock.stepWall(3_600_000))
    expect(run.state).toBe('tripped')
    expect(bench.sim.instruments.cutoff.contact).toBe(false)
    expect(events.find(({ kind }) => kind === 'trip')!.text).toContain('the host slept, or its clock was set')
  })

  it('goes on, with a warning, when the wall is put back, and silently when it moves a little', async () => {
    const back = await nightWith(clock => clock.stepWall(-3_600_000))
    expect(back.run.state).toBe('done')
    expect(back.events.find(({ kind }) => kind === 'clock')!.text).toContain('-3600000 ms')
    const little = await nightWith(clock => clock.stepWall(4000))
    expect(little.run.state).toBe('done')
    expect(little.events.some(({ kind }) => kind === 'clock')).toBe(false)
  })
})
