/** What goes wrong at the bench during a burn-in ends it safely, and is not laid at the door of the unit. */
import { describe, expect, it } from 'vitest'
import { burning, expectWithheld, hour, texts } from './burning.ts'

describe('a pause whose rails do not go down', () => {
  it('is a fault, and nobody is sent to the unit to say go on', async () => {
    const points: (string | undefined)[] = []
    const run = await burning({
      set: (sim, s) => {
        sim.clock.after(hour * 1000, () => { sim.wrong.mainsV = 214; sim.wrong.openBleeder = true })
        const look = (): void => { points.push(s.handles.holds.point?.id); sim.clock.after(1000, look) }
        sim.clock.after(hour * 1000, look)
        sim.clock.after(2 * hour * 1000, () => { delete sim.wrong.mainsV })
      },
    })
    const { state, latched, isDead, sim, result, events } = run
    expect([state, latched?.id, isDead]).toEqual(['tripped', 'rails', false])
    expect(latched!.text).toMatch(/not measured dead/)
    expect(points.filter(id => id !== undefined)).toEqual([])
    expect(texts(events, 'go-on')).toEqual([])
    expect(sim.acts.filter(({ what }) => what.startsWith('close'))).toHaveLength(1)
    expect(result).toMatchObject({ grade: 'cannot tell', disposition: 'retest' })
    expect(result!.unit!.burnIn!.countedS / hour).toBeCloseTo(1, 1)
    await expectWithheld(run)
  })
})

describe('a capture that fails', () => {
  it('is made once more, and nothing else comes of it', async () => {
    const { state, result, burnIn, events } = await burning({
      set: sim => { sim.clock.after(2 * hour * 1000, () => { sim.slow.capturesFail = 1 }) },
    })
    expect([state, result?.grade]).toEqual(['done', 'accept'])
    expect(texts(events, 'capture')).toEqual([expect.stringMatching(/half a block.*once more/)])
    expect(texts(events, 'dropout')).toEqual([])
    expect(burnIn!.countedS / hour).toBeCloseTo(4, 2)
  })

  it('again and again ends the burn-in with what it has found by then', async () => {
    const run = await burning({ set: sim => { sim.clock.after(3 * hour * 1000, () => { sim.slow.capturesFail = Infinity }) } })
    const { state, latched, result, burnIn, isDead, sim } = run
    expect([state, isDead]).toEqual(['tripped', true])
    expect(latched).toMatchObject({ id: 'digitizer.capture', text: expect.stringMatching(/half a block/) as string })
    expect(result).toMatchObject({ grade: 'cannot tell', disposition: 'retest' })
    expect(burnIn!.countedS / hour).toBeCloseTo(3, 1)
    expect(burnIn!.drifts.length).toBeGreaterThan(0)
    expect(burnIn!.says).not.toMatch(/It failed/)
    expect(sim.acts.find(({ what }) => what === 'off')!.atMs / 1000 - 3 * hour).toBeLessThan(30)
    await expectWithheld(run)
  })
})

describe('an output that gives far more than is due', () => {
  it('is muted within seconds, and nobody says that the unit failed', async () => {
    const run = await burning({ set: sim => { sim.clock.after(2 * hour * 1000, () => { sim.slow.digitizerMostV = 0.01 }) } })
    const { state, latched, result, sim } = run
    expect([state, latched?.id]).toEqual(['tripped', 'digitizer.left.range'])
    expect(result).toMatchObject({ grade: 'cannot tell', disposition: 'retest' })
    expect(sim.acts.findLast(({ what }) => what === 'off')!.atMs / 1000 - 2 * hour).toBeLessThan(15)
    await expectWithheld(run)
  })
})

describe('a step that cannot be done', () => {
  it('ends the burn-in with what it has found by then', async () => {
    const run = await burning({
      set: (sim, s) => {
        sim.clock.after(3 * hour * 1000, () => {
          Object.assign(s.handles.power.roles.generator!, { muteAll: async () => { await Promise.reject(new Error('no answer')) } })
        })
      }, parameters: { programme: [{ kind: 'cycles', forS: 4 * hour, onS: 600, offS: 120 }] },
    })
    expect([run.state, run.latched!.id]).toEqual(['tripped', 'sequence'])
    expect(run.result).toMatchObject({ grade: 'cannot tell', reason: expect.stringMatching(/no answer/) as string })
    expect(run.burnIn!.countedS / hour).toBeGreaterThan(2)
    expect(run.sim.isOn).toBe(false)
  })
})
