import { describe, expect, test } from 'vitest'
import { VirtualClock } from '../../src/base/clock.ts'
import { createSimBench, type SharedFault } from '../../mocks/bench/sim-bench.ts'
import { scenarioHealthyRack } from '../../mocks/bench/scenarios.ts'
import type { FaultSpec } from '../../mocks/scpi-device/faults.ts'

/** A bench at 100 V with nothing on the bus. */
async function live({ shared = [], psu = [] }: { shared?: SharedFault[]; psu?: FaultSpec[] } = {}) {
  const clock = new VirtualClock()
  const scenario = scenarioHealthyRack(1, 7, { staleFraction: 0 })
  const sim = createSimBench({ seed: 7, scenario, clock, faults: { shared, instruments: { psu } } })
  const ask = async (name: string, line: string, waitMs = 500): Promise<string> => {
    let answer = ''
    sim.instrument(name).receive(
      Buffer.from(`${line}\n`), bytes => { answer += Buffer.from(bytes).toString('latin1') })
    await clock.advance(waitMs)
    return answer.trim()
  }
  for (const line of ['SYST:REM', 'VOLT 100', 'CURR 0.5', 'OUTP ON']) await ask('psu', line)
  await ask('cutoff', 'OUTP:CLOS')
  return { clock, sim, ask, busV: () => sim.now().busV() }
}

describe('a fault of what all positions share', () => {
  test('an open bus bleeder leaves only the meter to empty the bus', async () => {
    const [sound, broken] = [await live(), await live({ shared: [{ kind: 'bus-bleeder-open' }] })]
    // 10 nF over 10 MΩ fall in a tenth of a second, over 470 kΩ in 5 ms.
    for (const { ask } of [sound, broken]) await ask('cutoff', 'OUTP:OPEN', 60)
    expect(sound.busV()).toBeLessThan(2)
    expect(broken.busV()).toBeGreaterThan(50)
  })

  test('a bus meter whose lead is off reads nothing on a live bus', async () => {
    const { ask, busV } = await live({ shared: [{ kind: 'bus-meter-lead-open' }] })
    expect(busV()).toBeGreaterThan(95)
    expect(Math.abs(parseFloat(await ask('bus-dmm', 'MEAS?')))).toBeLessThan(0.1)
    const sound = await live()
    expect(parseFloat(await sound.ask('bus-dmm', 'MEAS?'))).toBeGreaterThan(95)
  })

  test('a contact may be welded or dead though its auxiliary contact follows the coil', async () => {
    const welded = await live({ shared: [{ kind: 'cutoff-welded-unseen' }] })
    await welded.ask('cutoff', 'OUTP:OPEN')
    expect(await welded.ask('cutoff', 'OUTP:STAT?')).toBe('0')
    expect(welded.busV()).toBeGreaterThan(95)
    const dead = await live({ shared: [{ kind: 'cutoff-dead-unseen' }] })
    expect(await dead.ask('cutoff', 'OUTP:STAT?')).toBe('1')
    expect(dead.busV()).toBeLessThan(1)
  })
})

describe('a supply that overshoots', () => {
  test('goes too far at each rise for 30 ms, and not when it falls', async () => {
    const { sim, ask, clock } = await live({ psu: [{ kind: 'output-overshoot', value: 20 }] })
    expect(sim.audit().supplyMaxV).toBeGreaterThan(115)
    await clock.advance(5000)
    expect(sim.now().supplyOutputV()).toBeCloseTo(100, 0)
    const before = sim.audit().supplyMaxV
    await ask('psu', 'VOLT 90')
    expect(sim.audit().supplyMaxV).toBe(before)
    expect((await live()).sim.audit().supplyMaxV).toBeLessThan(101)
  })
})
