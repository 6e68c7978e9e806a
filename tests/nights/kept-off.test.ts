import { describe, expect, it } from 'vitest'
import { scenarioHealthyRack } from '../../mocks/bench/scenarios.ts'
import { buildRecord } from '../../src/report/record.ts'
import { touchLines } from '../../src/report/touch-lines.ts'
import { rackOf } from './acts.ts'
import { virtualBench } from './virtual-bench.ts'

const short = { minStepS: 60, soakS: 60, watchS: 60, stepShare: 0.25, fineStepShare: 0.25 }

describe('what a night tells of times', () => {
  it('from the finding of the bridge to disconnected, and to a reading below touch-safe', async () => {
    const bench = await virtualBench(rackOf([['dried-out', {}], ['healthy', {}]], 118), 118)
    const { id, state } = await bench.night({ parameters: short })
    expect(state).toBe('done')
    const events = (await bench.store.events(id)).filter(({ position }) => position === 'P01')
    const told = events.find(({ kind }) => kind === 'condemned')!
    const off = told.data!['findingToDisconnectedMs'] as number
    const low = events.find(({ kind }) => kind === 'kept-off')!
    expect(told.text).toMatch(/gross ESR/)
    // The relay to the bridge has to open; the next sweep then reads the part.
    expect(off).toBeGreaterThan(0)
    expect(off).toBeLessThan(1000)
    expect(low.text).toBe('P01 was never on the bus, and reads below 60 V on its bleeder; prove dead before touching')
    expect(low.data!['findingToTouchSafeMs']).toBeGreaterThan(off)
    expect(low.data!['findingToTouchSafeMs']).toBeLessThan(5000)
  }, 120_000)

  it('calls a part unmeasured whose charge of an earlier run was never seen to leave, on screen and page alike', async () => {
    const bench = await virtualBench(scenarioHealthyRack(2, 11, { staleFraction: 0 }), 11)
    bench.clock.after(600_000, () => { bench.sim.wiring.fault(0, { lead: 'open' }) })
    const first = await bench.night({ parameters: short })
    expect(bench.daemon.status().unsafe).toMatchObject([{ run: first.id, position: 'P01' }])
    await bench.clock.run(bench.daemon.acknowledge('it was discharged by hand', 'Ida'))
    expect(bench.daemon.status().unsafe).toEqual([])
    const run = await bench.night({ parameters: short })
    const events = await bench.store.events(run.id)
    const words = `NOT SAFE TO TOUCH: UNMEASURED (never on the bus; what it held in run ${first.id} was never seen to leave)`
    expect(touchLines(run, events)).toContain(`P01 ${words}`)
    expect((await buildRecord(bench.store, run.id)).parts[0]!.end).toMatchObject({ words, measured: false, volts: null })
    expect(bench.daemon.status().unsafe).toMatchObject([{ run: run.id, position: 'P01' }])
  }, 120_000)

  it('from the fault of a trip to a bench that was read back', async () => {
    const bench = await virtualBench(scenarioHealthyRack(2, 11), 11)
    bench.clock.after(120_000, () => { bench.sim.switches.coverClosed = false })
    const { id, state } = await bench.night({ parameters: short })
    expect(state).toBe('tripped')
    const trip = (await bench.store.events(id)).find(({ kind }) => kind === 'trip')!
    expect(trip.data!['faultToDisconnectedMs']).toBeGreaterThanOrEqual(trip.data!['offVerifiedMs'] as number)
    expect(trip.data!['faultToDisconnectedMs']).toBeLessThan(2000)
  }, 120_000)
})

describe('a discharge of parts that hold nothing', () => {
  it('calls nothing measured that only read zero', async () => {
    const bench = await virtualBench(scenarioHealthyRack(2, 22, { staleFraction: 0 }), 22)
    const { id, state } = await bench.night({ sequence: 'discharge', parameters: { watchS: 60 } })
    expect(state).toBe('done')
    const touch = (await bench.store.events(id)).filter(({ kind }) => kind === 'touch').map(({ text }) => text)
    expect(touch).toHaveLength(2)
    for (const text of touch) expect(text).toMatch(/^P0\d read below 60 V at .* by a path that showed no charge; prove dead/)
  }, 120_000)
})
