import { describe, expect, it } from 'vitest'
import { scenarioHealthyRack } from '../../mocks/bench/scenarios.ts'
import { virtualBench } from './virtual-bench.ts'

const short = { minStepS: 60, soakS: 1800, watchS: 60, stepShare: 0.25, fineStepShare: 0.25 }

/** Runs a rack of two and does something to the bench while it soaks. */
async function nightWith(seed: number, act: (bench: Awaited<ReturnType<typeof virtualBench>>) => void) {
  const bench = await virtualBench(scenarioHealthyRack(2, seed, { staleFraction: 0 }), seed)
  const run = await bench.clock.run((async () => {
    const started = await bench.daemon.start({ ...bench.request, parameters: short })
    bench.clock.after(1500_000, () => act(bench))
    return await bench.daemon.ended(started.id)
  })())
  const trips = (await bench.store.events(run.id)).filter(({ kind }) => kind === 'trip').map(({ text }) => text)
  return { bench, run, trips }
}

describe('a bus that falls away while energy is on', () => {
  it('stops the run when the cover is opened, and nothing is graded', async () => {
    const { bench, run, trips } = await nightWith(31, ({ sim }) => { sim.switches.coverClosed = false })
    expect(run.state).toBe('tripped')
    expect(trips.join()).toMatch(/cover was opened|fell away/)
    expect(bench.sim.instruments.cutoff.contact).toBe(false)
    expect((await bench.store.results(run.id)).some(({ grade }) => grade === 'accept')).toBe(false)
  }, 60_000)
  it('stops the run when the supply loses its output', async () => {
    const { run, trips } = await nightWith(32, ({ sim }) => sim.instruments.psu.device.powerCycle())
    expect(run.state).toBe('tripped')
    expect(trips.length).toBeGreaterThan(0)
  }, 60_000)
  it('stops the run when the cutoff lets go though its contact has welded: the supply is switched off', async () => {
    const { bench, run, trips } = await nightWith(34, ({ sim }) => {
      sim.sharedFault({ kind: 'cutoff-welded-unseen' })
      sim.instruments.cutoff.device.powerCycle()
    })
    expect(run.state).toBe('tripped')
    expect(trips.join()).toMatch(/cutoff reads open though nobody opened it/)
    expect(bench.sim.instruments.psu.core.driven).toBe(false)
    await expect(bench.clock.run(bench.daemon.start(bench.request))).rejects.toMatchObject({ code: 'TRIPPED' })
  }, 60_000)
  it('does not stop a night in which nothing of the kind happens', async () => {
    const { run, trips } = await nightWith(33, () => {})
    expect([run.state, trips]).toEqual(['done', []])
  }, 60_000)
})
