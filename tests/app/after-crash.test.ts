/** A daemon that is lost in the middle of a night, and the one that starts after it, on the same bench and record. */
import { describe, expect, it } from 'vitest'
import { pair } from '../../nights/acts.ts'
import { quick } from '../../nights/bad-night.ts'
import { CampaignBench } from '../../nights/campaign-bench.ts'
import { sleep } from '../../src/base/clock.ts'
import type { Reading } from '../../src/schema/reading.ts'

interface Crashed { bench: CampaignBench; runId: string; lasting: Reading[]; run<T>(work: Promise<T>): Promise<T> }

/** A night whose daemon is killed `atMs` after its start, and the next daemon `awayMs` later, still measuring. */
async function crashed(
  atMs: number, awayMs: number, meanwhile: (bench: CampaignBench) => void = () => {},
): Promise<Crashed> {
  const bench = new CampaignBench(pair(3), 3)
  const lasting: Reading[] = []
  const runId = await bench.clock.run((async () => {
    await bench.boot()
    const { id } = await bench.daemon.start({ ...bench.request, parameters: quick })
    let shown: Reading[] = []
    bench.daemon.subscribe(item => {
      if (item.type !== 'reading' || !bench.daemonLife.alive) return
      shown.push(item.reading)
      const { durableUntilMs } = bench.daemon.status().run!
      lasting.push(...shown.filter(({ atMs: at }) => at <= durableUntilMs))
      shown = shown.filter(({ atMs: at }) => at > durableUntilMs)
    })
    await sleep(bench.clock, atMs)
    bench.killDaemon()
    meanwhile(bench)
    await sleep(bench.clock, awayMs)
    await bench.boot()
    return id
  })())
  return { bench, runId, lasting, run: work => bench.clock.run(work) }
}
const touchOf = ({ bench }: Crashed): string[] => bench.daemon.status().left!.positions.map(({ touch }) => touch)

describe('the start after a crash', () => {
  it('bleeds and measures what was on the bus, and says so in the interrupted run and in the status', async () => {
    const c = await crashed(400_000, 1000)
    expect(c.bench.sim.now().partV(0)).toBeGreaterThan(60)
    expect(c.bench.daemon.status()).toMatchObject({ energy: 'bleeding', left: { measuring: true } })
    expect(c.bench.daemon.status().latched?.text).toMatch(/^P01 P02 may still hold a charge/)
    await c.run(c.bench.daemon.recovered())
    expect(c.bench.daemon.status()).toMatchObject({ energy: 'off', latched: null, left: { run: c.runId, measuring: false } })
    for (const touch of touchOf(c)) expect(touch).toMatch(/^measured below 60 V at/)
    expect(Math.max(c.bench.sim.now().partV(0), c.bench.sim.now().partV(1))).toBeLessThan(60)
    const events = await c.bench.store.events(c.runId)
    expect(events.map(({ kind }) => kind)).toContain('recovered')
    expect(events.filter(({ kind }) => kind === 'touch').map(({ position }) => position).sort()).toEqual(['P01', 'P02'])
    expect((await c.bench.store.run(c.runId))!.state).toBe('interrupted')
    expect(await c.bench.store.verifyChain(c.runId)).toBeNull()
    const times = events.map(({ atMs }) => atMs)
    expect(times).toEqual([...times].sort((a, b) => a - b))
  })

  it('latches what it could not measure: charge that nobody saw leave', async () => {
    const c = await crashed(400_000, 120_000)
    await c.run(c.bench.daemon.recovered())
    for (const touch of touchOf(c)) expect(touch).toMatch(/^NOT SAFE TO TOUCH: UNMEASURED/)
    expect(c.bench.daemon.status().latched?.text).toMatch(/^P01 P02 may still hold a charge/)
    await expect(c.run(c.bench.daemon.start(c.bench.request))).rejects.toMatchObject({ code: 'TRIPPED' })
  })

  it('finds a part whose path is broken: a zero shows nothing', async () => {
    const c = await crashed(400_000, 1000, ({ sim }) => sim.fixtureFault({ position: 'P01', kind: 'bleeder-open' }))
    await c.run(c.bench.daemon.recovered())
    expect(c.bench.sim.now().partV(0)).toBeGreaterThan(60)
    expect(touchOf(c)[0]).toMatch(/^NOT SAFE TO TOUCH/)
    expect(touchOf(c)[1]).toMatch(/^measured below 60 V/)
    expect(c.bench.daemon.status().latched?.text).toMatch(/^P01 may still hold a charge/)
  })

  it('stays latched for a keeper that dies while it measures, though every part is then measured dead', async () => {
    const c = await crashed(400_000, 1000)
    c.bench.killKeeper()
    await c.run(c.bench.daemon.recovered())
    expect(c.bench.daemon.status().latched?.text).toMatch(/the keeper is gone/)
    await expect(c.run(c.bench.daemon.start(c.bench.request))).rejects.toMatchObject({ code: 'TRIPPED' })
  })

  it('acknowledges nothing, and starts nothing, while it measures', async () => {
    const c = await crashed(400_000, 1000)
    await expect(c.run(c.bench.daemon.acknowledge('looks fine', 'K. Marsh'))).rejects.toThrow('still being measured')
    await expect(c.run(c.bench.daemon.start(c.bench.request))).rejects.toMatchObject({ code: 'TRIPPED' })
    await c.run(c.bench.daemon.recovered())
    expect(c.bench.daemon.status().latched).toBeNull()
  })

  it('loses no reading that was not marked provisional', async () => {
    const c = await crashed(400_000, 1000)
    await c.run(c.bench.daemon.recovered())
    expect(c.lasting.length).toBeGreaterThan(1000)
    for (const channel of await c.bench.store.channels(c.runId)) {
      const kept = new Set((await c.bench.store.series(c.runId, channel.index)).atMs)
      const shown = c.lasting.filter(one => one.channel.index === channel.index)
      expect(shown.filter(({ atMs }) => !kept.has(atMs)), channel.name).toEqual([])
    }
  })

  it('has nothing to measure where nothing was on the bus', async () => {
    const c = await crashed(1000, 1000)
    expect(c.bench.daemon.status()).toMatchObject({ latched: null, left: null, energy: 'off' })
  })

  it('measures again where it crashed while it measured', async () => {
    const c = await crashed(400_000, 1000)
    await c.run(sleep(c.bench.clock, 3000))
    c.bench.killDaemon()
    await c.run(c.bench.boot())
    await c.run(c.bench.daemon.recovered())
    expect(c.bench.daemon.status().left?.positions).toHaveLength(2)
  })
})
