import { describe, expect, it } from 'vitest'
import { scenarioHealthyRack } from '../../mocks/bench/scenarios.ts'
import { virtualBench } from '../nights/virtual-bench.ts'

const short = { minStepS: 60, soakS: 60, watchS: 60, stepShare: 0.25, fineStepShare: 0.25 }

async function stopped() {
  const bench = await virtualBench(scenarioHealthyRack(2, 11), 11)
  const run = await bench.clock.run((async () => {
    const started = await bench.daemon.start({ ...bench.request, parameters: short })
    bench.clock.after(120_000, () => { void bench.daemon.stop('a person stopped it') })
    return await bench.daemon.ended(started.id)
  })())
  return { bench, run }
}

describe('an acknowledgement', () => {
  it('lets the next run start, and stands in the record with person and reason', async () => {
    const { bench, run } = await stopped()
    expect(run.state).toBe('stopped')
    await bench.clock.run(bench.daemon.acknowledge('the cat was in the room', 'Ada'))
    const events = await bench.store.events(run.id)
    expect(events.find(({ kind }) => kind === 'acknowledged')?.text).toContain('Ada acknowledged')
    expect(await bench.store.verifyChain(run.id)).toBeNull()
    expect((await bench.night({ parameters: short })).state).toBe('done')
  }, 60_000)
  it('is refused when nobody is at the bench, and nothing starts until it is given', async () => {
    const { bench } = await stopped()
    bench.sim.switches.present = false
    await expect(bench.clock.run(bench.daemon.acknowledge('reason', 'Ada'))).rejects.toThrow(/presence/)
    bench.sim.switches.present = true
    await expect(bench.night({ parameters: short })).rejects.toThrow(/not acknowledged/)
  }, 60_000)
  it('is refused while the keeper is still making the bench safe, and what latched stays so', async () => {
    const { bench } = await stopped()
    const safing = bench.keeper.safeOff('a second stop', 'somebody')
    expect(bench.keeper.mode).toBe('safing')
    await expect(bench.clock.run(bench.daemon.acknowledge('reason', 'Ada')))
      .rejects.toMatchObject({ code: 'REFUSED', message: expect.stringContaining('safing') as string })
    expect(bench.daemon.status().latched).not.toBeNull()
    await bench.clock.run(safing)
    await bench.clock.run(bench.daemon.acknowledge('reason', 'Ada'))
    expect(bench.daemon.status().latched).toBeNull()
  }, 60_000)
  it('that cannot be recorded acknowledges nothing', async () => {
    const { bench } = await stopped()
    bench.store.appendEvent = () => Promise.reject(new Error('disk full'))
    await expect(bench.clock.run(bench.daemon.acknowledge('reason', 'Ada'))).rejects.toThrow('disk full')
    expect(bench.daemon.status().latched).not.toBeNull()
  }, 60_000)
  it('is asked for after a stop while nothing ran: a start is refused at once, and not by its checks', async () => {
    const bench = await virtualBench(scenarioHealthyRack(2, 11), 11)
    await bench.clock.run(bench.daemon.stop('just in case'))
    await expect(bench.night({ parameters: short })).rejects.toMatchObject({
      code: 'TRIPPED', message: 'the bench was told to stop, and nobody has acknowledged that yet',
    })
    expect(await bench.store.listRuns(10)).toEqual([])
    await bench.clock.run(bench.daemon.acknowledge('nothing was wrong', 'Ada'))
    expect((await bench.night({ parameters: short })).state).toBe('done')
  }, 60_000)
  it('needs a reason and a person', async () => {
    const { bench } = await stopped()
    await expect(bench.clock.run(bench.daemon.acknowledge(' ', 'Ada'))).rejects.toThrow(/person and a reason/)
  }, 60_000)
})
