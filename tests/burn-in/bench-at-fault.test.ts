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
