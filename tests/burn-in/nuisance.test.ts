/** Sound units: no trip, whatever is drawn. BURNS=100 runs a hundred. */
import { describe, expect, it } from 'vitest'
import { SeededRandom } from '../../src/base/random.ts'
import { burning, hour } from './burning.ts'
import type { WarmStand } from './warm-stand.ts'

const burns = Number(process.env.BURNS ?? 8)

/** A unit, its room and its mains as they may soundly be. */
function soundly(random: SeededRandom): (sim: WarmStand) => void {
  return sim => {
    Object.assign(sim.slow, {
      hotter: random.uniform(0.5, 1.4), idlePerK: random.uniform(0, 0.012), gain: random.uniform(20, 40),
      thd: random.uniform(1e-4, 0.02), airC: random.uniform(18, 26), dcVPerH: random.uniform(-1e-3, 1e-3),
    })
    const swingC = random.uniform(0, 3)
    const middleC = sim.slow.airC
    const turn = (): void => {
      sim.heat()
      sim.slow.airC = middleC + swingC * Math.sin(2 * Math.PI * sim.clock.monotonicMs() / (7 * hour * 1000))
      sim.wrong.mainsV = 230 * (1 + 0.01 * random.normal())
      sim.clock.after(20_000, turn)
    }
    turn()
  }
}

const programmes = [
  { kind: 'tone', forS: 5 * hour }, { kind: 'noise', forS: 4 * hour }, { kind: 'music', forS: 4 * hour },
  { kind: 'cycles', forS: 4 * hour, onS: 1200, offS: 240 }, { kind: 'idle', forS: 5 * hour },
] as const

describe('a sound unit', () => {
  it.each(Array.from({ length: burns }, (_, i) => i))('burns in without a trip (%i)', async i => {
    const random = new SeededRandom(`sound ${i}`)
    const first = programmes[i % programmes.length]!
    const programme = [first, random.pick([...programmes])].map((phase, k) => ({ ...phase, forS: phase.forS / (k + 1) }))
    const { state, latched, result, isDead, burnIn } = await burning({ seed: `unit ${i}`, parameters: { programme }, set: soundly(random) })
    expect([state, latched?.text ?? null, isDead], JSON.stringify(programme)).toEqual(['done', null, true])
    expect(result!.grade, result!.reason).toBe('accept')
    expect(burnIn!.countedS).toBeGreaterThanOrEqual(burnIn!.askedS)
  })
})
