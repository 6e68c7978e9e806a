/** Each trip of a burn-in: in time, and with mains and drive withheld afterwards. */
import { describe, expect, it } from 'vitest'
import { burning, expectWithheld, hour, tone, type Burning } from './burning.ts'
import { profile } from '../powering/fake-stand.ts'
import type { WarmStand } from './warm-stand.ts'

const at = (sim: WarmStand, hours: number, act: () => void): void => { sim.clock.after(1000 * hours * hour, () => { sim.heat(); act() }) }

interface Case {
  readonly id: RegExp
  readonly withinS: number
  readonly fromH: number
  readonly wrong: (sim: WarmStand) => void
  readonly more?: Burning
  /** The bench is at fault, not the unit. */
  readonly grade?: 'cannot tell'
  /** It may not be called dead in the end. */
  readonly isDead?: false
}

const cycles = { parameters: { programme: [{ kind: 'cycles', forS: 4 * hour, onS: 600, offS: 120 }] } }
const idle = { parameters: { programme: [{ kind: 'idle', forS: 5 * hour }] } }
const cases: Record<string, Case> = {
  'heat that makes heat': { id: /runaway$|hot$/, withinS: 3600, fromH: 0.5, wrong: sim => { sim.slow.idlePerK = 0.1 } },
  'a fan that stops': { id: /^warm\.heatsink\.(runaway|rise|hot)$/, withinS: 3600, fromH: 2, wrong: sim => { sim.slow.hotter = 5 } },
  'a heat sink that came off': { id: /^warm\.heatsink\.(rise|runaway)$/, withinS: 240, fromH: 2, wrong: sim => { const turn = (): void => { sim.heat(); sim.celsius += 1; sim.clock.after(4000, turn) }; turn() } },
  'DC that creeps up at the output': { id: /^left\.dc\.high$/, withinS: 1.2 * hour, fromH: 2, wrong: sim => { sim.slow.dcVPerH = 0.046 / 3 } },
  'idle current that is high at rest': { id: /^idle\.left-idle\.high$/, withinS: 400, fromH: 0.001, wrong: sim => { sim.slow.idlePerK = 0.2 } },
  'idle current that grows while idle': { id: /^idle\.left-idle/, withinS: 3600, fromH: 2, more: idle, wrong: sim => { const turn = (): void => { sim.slow.idlePerK += 0.002; sim.clock.after(10_000, turn) }; turn() } },
  'a joint that opens now and then': { id: /^output\.left\.level$/, withinS: 3600, fromH: 1, wrong: sim => { for (let i = 0; i < 100; i++) sim.slow.gaps.push([1000 * (hour + 60 * i), 6000]) } },
  'an output that is gone': { id: /^output\.left\.level$/, withinS: 45, fromH: 1, wrong: sim => { sim.slow.gain = 0 } },
  'distortion that grew': { id: /^output\.left\.thd$/, withinS: hour + 120, fromH: 1.1, wrong: sim => { sim.slow.thd = 0.2 } },
  'current past the open contactor': { id: /^mains\.inrush$/, withinS: 800, fromH: 1, isDead: false, more: cycles, wrong: sim => { sim.wrong.leakA = 0.4 } },
  'a rail that sags': { id: /^rail\.plus\.(low|mirror)$/, withinS: 30, fromH: 1, wrong: sim => { sim.wrong.plusShare = 0.7 } },
  'a cover that opens': { id: /^cover\.open$/, withinS: 1, fromH: 1, grade: 'cannot tell', wrong: sim => { sim.wrong.coverOpen = true } },
  'a sensor that reads nothing': { id: /^warm\.heatsink\.hot$/, withinS: 30, fromH: 1, grade: 'cannot tell', wrong: sim => { sim.slow.sensorReads = 'not-a-number' } },
  'a sensor whose wire broke': { id: /^warm\.heatsink\.hot$/, withinS: 30, fromH: 1, grade: 'cannot tell', wrong: sim => { sim.slow.sensorReads = 'over-range' } },
  'a power meter that goes silent': { id: /mains|stale/, withinS: 5, fromH: 1, grade: 'cannot tell', wrong: sim => { sim.wrong.meterSilent = true } },
  'mains that goes far': { id: /^mains\.under$/, withinS: 5, fromH: 1, grade: 'cannot tell', wrong: sim => { sim.wrong.mainsV = 190 } },
  'a load that opens': { id: /^load\.open$|^sequence$/, withinS: 10, fromH: 1, grade: 'cannot tell', wrong: sim => { sim.wrong.loadOpen = true } },
}

describe('a burn-in shuts down by itself', () => {
  it.each(Object.entries(cases))('%s', async (_, { id, withinS, fromH, wrong, more, grade = 'reject', isDead: dead = true }) => {
    const run = await burning({ parameters: { programme: [tone(8)] }, ...more, set: sim => { at(sim, fromH, () => wrong(sim)) } })
    const { state, latched, sim, result, isDead, events } = run
    expect(state, `${latched?.text}`).toBe('tripped')
    expect(latched!.id, latched!.text).toMatch(id)
    const offS = sim.acts.find(({ what }) => what === 'off')!.atMs / 1000
    expect(offS).toBeGreaterThan(fromH * hour)
    expect(offS - fromH * hour).toBeLessThan(withinS)
    expect(sim.celsius).toBeLessThan(81)
    expect([isDead, result!.grade, events.some(({ kind }) => kind === 'trip')]).toEqual([dead, grade, true])
    expect(result!.unit!.burnIn!.countedS).toBeLessThan(offS)
    await expectWithheld(run)
  })

  it('of a sensor that came off its place, though it passes no bound', async () => {
    const run = await burning({ parameters: { programme: [{ ...tone(8), powerShare: 0.5 }] }, set: sim => { sim.slow.sensorOff = true } })
    expect(run.latched!.id).toBe('warm.heatsink.follows')
    expect(run.result).toMatchObject({ grade: 'cannot tell', disposition: 'retest' })
    expect(run.burnIn!.says).not.toMatch(/It failed/)
    expect(run.sim.acts.find(({ what }) => what === 'off')!.atMs).toBeLessThan(1000 * hour)
    await expectWithheld(run)
  })

  it('of a unit that takes far more than an inrush', async () => {
    const run = await burning({ profile: profile({ supply: { ...profile().supply, currentMaxA: 0.75 } }) })
    expect(run.latched!.id).toBe('mains.inrush')
    await expectWithheld(run)
  })

  it('of an output that gives nothing from the start', async () => {
    const run = await burning({ set: sim => { sim.slow.gain = 0 } })
    expect(run.latched!.text).toMatch(/the output of left gives nothing/)
    expect(run.result!.unit!.burnIn!.says).toMatch(/nothing is shown/)
    await expectWithheld(run)
  })
})
