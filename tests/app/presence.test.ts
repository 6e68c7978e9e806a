import { describe, expect, it } from 'vitest'
import { scenarioHealthyRack } from '../../mocks/bench/scenarios.ts'
import { sleep } from '../../src/base/clock.ts'
import type { RunEvent, RunRecord } from '../../src/schema/run.ts'
import { virtualBench } from '../nights/virtual-bench.ts'
import type { VirtualBench } from '../nights/virtual-bench.ts'

const minutes = (n: number): number => n * 60_000
const limitMs = minutes(10)

/** Starts a night and does `meanwhile` beside it; a run that still goes on after that is stopped. */
async function beside(
  bench: VirtualBench, use: 'attended' | 'unattended', meanwhile: () => Promise<void>,
): Promise<{ run: RunRecord; events: RunEvent[] }> {
  return await bench.clock.run((async () => {
    const { id } = await bench.daemon.start({ ...bench.request, use })
    await meanwhile()
    if (bench.daemon.status().run) await bench.daemon.stop('the test has seen enough')
    return { run: await bench.daemon.ended(id), events: await bench.store.events(id) }
  })())
}
const rack = (): Promise<VirtualBench> => virtualBench(scenarioHealthyRack(2, 3), 3)
const atMsOf = (events: readonly RunEvent[], kind: string): number => events.find(event => event.kind === kind)!.atMs
const afterLive = (events: readonly RunEvent[]): number => atMsOf(events, 'trip') - atMsOf(events, 'energise')

describe('presence in attended use', () => {
  it('trips after ten minutes of silence, though the input stands still on all the time', async () => {
    const bench = await rack()
    expect(bench.sim.switches.present).toBe(true)
    const { run, events } = await beside(bench, 'attended', () => sleep(bench.clock, minutes(30)))
    expect(run.state).toBe('tripped')
    expect(events.find(({ kind }) => kind === 'trip')!.data!['id']).toBe('presence')
    expect(afterLive(events)).toBeGreaterThanOrEqual(limitMs - 1000)
    expect(afterLive(events)).toBeLessThan(limitMs + 2000)
    expect(bench.sim.now().busV()).toBeLessThan(1)
  })

  it('goes on while the button is pressed again and again', async () => {
    const bench = await rack()
    const { run, events } = await beside(bench, 'attended', async () => {
      await sleep(bench.clock, minutes(1))
      for (let press = 0; press < 5; press++) {
        bench.sim.switches.present = false
        await sleep(bench.clock, minutes(8))
        bench.sim.switches.present = true
        await sleep(bench.clock, 1000)
      }
    })
    expect(run.state).toBe('stopped')
    expect(events.filter(({ kind }) => kind === 'presence')).toHaveLength(5)
  })

  it('goes on from the minute a person gives their name, and no longer than that', async () => {
    const bench = await rack()
    const { run, events } = await beside(bench, 'attended', async () => {
      await sleep(bench.clock, minutes(7))
      await bench.daemon.confirmPresence('lamp keeper')
      await sleep(bench.clock, minutes(20))
    })
    expect(run.state).toBe('tripped')
    const named = events.find(({ kind }) => kind === 'presence')!
    expect(named.text).toContain('lamp keeper')
    expect(atMsOf(events, 'trip') - named.atMs).toBeGreaterThanOrEqual(limitMs)
    expect(atMsOf(events, 'trip') - named.atMs).toBeLessThan(limitMs + 2000)
  })

  it('asks nobody in unattended use, and refuses a name there', async () => {
    const bench = await rack()
    const { run, events } = await beside(bench, 'unattended', async () => {
      await expect(bench.daemon.confirmPresence('lamp keeper')).rejects.toMatchObject({ code: 'REFUSED' })
      await sleep(bench.clock, minutes(30))
    })
    expect(run.state).toBe('stopped')
    expect(events.some(({ kind }) => kind === 'presence' || kind === 'trip')).toBe(false)
  })

  it('needs a name', async () => {
    const bench = await rack()
    await expect(bench.daemon.confirmPresence(' ')).rejects.toMatchObject({ code: 'USAGE' })
  })
})
