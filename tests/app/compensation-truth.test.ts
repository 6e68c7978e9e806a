/** A jig that adds to what is read, and comes back a little different each time: what is said of small parts is still right. */
import { describe, expect, it } from 'vitest'
import { makeWire } from '../../mocks/bench/drawer.ts'
import { usualWander } from '../../mocks/bench/jig-bench.ts'
import type { Component } from '../../mocks/components/component.ts'
import { makeComponent } from '../../mocks/components/make-component.ts'
import { binomialCdf } from '../../src/analysis/binomial.ts'
import type { OhmMeter } from '../../src/schema/roles.ts'
import type { PartResult } from '../../src/schema/run.ts'
import { openTable, requestFor, soon, type TablePart } from './screening-bench.ts'

const parts: readonly TablePart[] = [
  { id: 'C1', kind: 'mica-capacitor', line: 'capacitor,22p 50V,5,c0g,' }, { id: 'R1', kind: 'resistor', line: 'resistor,R33,20,,' },
]
const hertz = 1e5
const seeds = Array.from({ length: 100 }, (_, i) => i + 1)

/** Every third part is not what it should be, by twice its tolerance. */
function lyingOf(seed: number): { C1: Component; R1: Component; isSound: boolean } {
  const isSound = seed % 3 !== 0
  const by = isSound ? 1 : seed % 2 === 0 ? 0.8 : 1.2
  return {
    C1: makeComponent('mica-capacitor', { value: 22e-12 * (isSound ? 1 : 1 + (by - 1) / 2), tolerance: isSound ? 0.05 : 0.001, volts: 500 }, seed),
    R1: makeComponent('resistor', { value: 0.33 * (isSound ? 1 : 1 + 2 * (by - 1)), tolerance: isSound ? 0.2 : 0.001 }, seed), isSound,
  }
}

const truthOf = (part: Component, id: string): number =>
  id === 'R1' ? part.truth.values['ohm']! : -1 / (2 * Math.PI * hertz * part.impedance(hertz).im)

async function screened(seed: number): Promise<{ bare: PartResult[]; compensated: PartResult[]; lying: ReturnType<typeof lyingOf> }> {
  const lying = lyingOf(seed)
  const table = await openTable(parts, { seed, instant: true, errors: 'normal' })
  table.sim.wander = usualWander
  // A meter with two wires alone.
  const meter: OhmMeter = table.composed.roles['ohm-meter']!
  Object.defineProperty(meter, 'wires', { value: [2] })
  for (const [name, part] of [['C1', lying.C1], ['R1', lying.R1], ['shorting wire', makeWire()]] as const) table.parts.set(name, part)
  table.onTold = (tone, text) => { if (tone === 'attention' && text.includes('?')) soon(table, 'keep') }
  const session = async (compensate: boolean): Promise<PartResult[]> => {
    const run = await table.screen(requestFor(parts, { insulation: false, ask: 'all', compensate }))
    expect(run.state).toBe('done')
    return await table.store.results(run.id)
  }
  const [bare, compensated] = [await session(false), await session(true)]
  await table.clock.run(table.daemon.close())
  return { bare, compensated, lying }
}

describe('a 22 pF capacitor of 5 % and 0.33 Ω on two wires, on jigs that add to them', () => {
  it('are judged right in a hundred drawers, compensated or not, and their intervals hold the truth', async () => {
    const held = { bare: { C1: 0, R1: 0 }, compensated: { C1: 0, R1: 0 } }
    const accepted = { bare: { C1: 0, R1: 0 }, compensated: { C1: 0, R1: 0 } }
    const wrong: string[] = []
    for (const seed of seeds) {
      const { lying, ...sessions } = await screened(seed)
      for (const how of ['bare', 'compensated'] as const) {
        for (const { position, grade, criteria: [main] } of sessions[how]) {
          const id = position as 'C1' | 'R1'
          if (Math.abs(main!.value - truthOf(lying[id], id)) <= main!.expandedU) held[how][id]++
          if (grade === 'accept') accepted[how][id]++
          if (lying.isSound ? grade === 'reject' : grade === 'accept') wrong.push(`${seed} ${how} ${id} ${grade}`)
        }
      }
    }
    expect(wrong).toEqual([])
    // As few as this, of a hundred that hold with 95 %, come once in a thousand.
    for (const { C1, R1 } of Object.values(held)) for (const count of [C1, R1]) expect(binomialCdf(count, 100, 0.95)).toBeGreaterThan(1e-3)
    const sound = seeds.filter(seed => lyingOf(seed).isSound).length
    expect(accepted.compensated.C1).toBeGreaterThan(0.8 * sound)
    expect(accepted.compensated.C1).toBeGreaterThan(accepted.bare.C1)
    expect(accepted.compensated.R1).toBeGreaterThan(accepted.bare.R1)
  }, 240_000)
})
