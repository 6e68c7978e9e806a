/** What absorption brings back into a part that was under volts behind a cover: in the jig, and in a hand, over time. */
import { describe, expect, it } from 'vitest'
import { Component } from '../../mocks/components/component.ts'
import { usualRatings } from '../../mocks/components/kinds.ts'
import { makeComponent } from '../../mocks/components/make-component.ts'
import { openTable, requestFor, type TablePart } from './screening-bench.ts'

const film = (id: string): TablePart => ({ id, kind: 'film-capacitor', line: 'capacitor,100n 400V,10,film,' })
/** What comes back in the end of a part that stood at 400 V for long: about a tenth for each 0.01 of it. */
const absorbing = (absorption: number): Component => {
  const { truth } = makeComponent('film-capacitor', usualRatings['film-capacitor'], 'C1')
  return new Component({ ...truth, values: { ...truth.values, absorption } }, 'C1')
}

/** Proven; then somebody takes their time. */
async function proven(absorption: number, leftForMs: number) {
  const table = await openTable([film('C1'), film('C2')], { covered: true, instant: true })
  const { sim, clock, daemon } = table
  table.parts.set('C1', absorbing(absorption))
  const { hear } = table.hands
  let goodMs = NaN
  table.hands.hear = (tone, text) => {
    if (tone === 'ask') return hear.call(table.hands, tone, text)
    if (Number.isNaN(goodMs)) { goodMs = clock.monotonicMs(); clock.after(leftForMs, () => table.hands.take()) }
  }
  await clock.run(daemon.screening.begin(requestFor([film('C1')], { cautionsConfirmed: true })))
  while (Number.isNaN(goodMs)) await clock.advance(1000)
  let mostV = 0
  for (let ms = 0; ms < leftForMs + 600_000; ms += 5000) {
    await clock.advance(5000)
    mostV = Math.max(mostV, sim.heldV)
  }
  return { ...table, mostV, inHandV: table.parts.get('C1')!.heldV }
}

describe('what absorption brings back', () => {
  it.each([0.02, 0.08])('is nothing harmful while it lies in the jig for long, nor meets the bridge (%s)', async absorption => {
    const { mostV, sim } = await proven(absorption, 240_000)
    expect(mostV).toBeLessThan(3)
    expect([sim.cover!.exposed, sim.wrongs]).toEqual([[], []])
  }, 120_000)

  it.each([0.003, 0.02, 0.08])('is nothing harmful in the hand that takes it at once (%s)', async absorption => {
    const { inHandV, sim } = await proven(absorption, 500)
    expect(inHandV).toBeLessThan(60)
    expect([sim.cover!.exposed, sim.wrongs]).toEqual([[], []])
  })

  it('is waited for: the part stays locked in on its bleeder for about as long as it was charged, and words ask to short its ends', async () => {
    const table = await openTable([film('C1')], { covered: true, instant: true })
    const { clock, sim, daemon } = table
    let upMs = NaN
    let downMs = NaN
    const touch: string[] = []
    daemon.subscribe(item => { if (item.type === 'screening' && item.screening?.touch) touch.push(item.screening.touch) })
    const watch = (): void => {
      if (Number.isNaN(upMs) && sim.heldV > 390) upMs = clock.monotonicMs()
      if (!Number.isNaN(upMs) && Number.isNaN(downMs) && sim.heldV < 3) downMs = clock.monotonicMs()
      clock.after(100, watch)
    }
    watch()
    const opened = new Promise<number>(resolve => {
      const { onChange } = sim.cover!
      sim.cover!.onChange = () => { onChange(); if (!Number.isNaN(downMs) && !sim.cover!.isLocked) resolve(clock.monotonicMs()) }
    })
    await clock.run(daemon.screening.begin(requestFor([film('C1')], { cautionsConfirmed: true })))
    const freedMs = await clock.run(opened)
    expect((freedMs - downMs) / (downMs - upMs)).toBeGreaterThan(0.95)
    await clock.advance(2000)
    expect(touch.at(-1)).toMatch(/^measured below 3 V at .*; short its ends, and prove dead before touching$/)
  })
})
