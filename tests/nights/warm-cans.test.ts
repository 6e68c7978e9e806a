/** Sound cans of every rating that forming warms, in rooms cool and warm; and cans that warm themselves beside them. */
import { describe, expect, it } from 'vitest'
import type { MakeOptions, PartKind } from '../../mocks/parts/make-part.ts'
import { rackOf } from './acts.ts'
import { virtualBench } from './virtual-bench.ts'

type Rating = readonly [partProfile: string, voltageV: number, capacitanceF: number, targetV: number]
const ratings: readonly Rating[] = [
  ['al-450v-10u-general', 450, 10e-6, 447], ['al-450v-16u-vintage', 450, 16e-6, 447], ['al-450v-32u-vintage', 450, 32e-6, 450],
  ['al-450v-47u-general', 450, 47e-6, 450], ['al-350v-50u-vintage', 350, 50e-6, 350], ['al-350v-100u-general', 350, 100e-6, 350],
  ['al-50v-100u-axial', 50, 100e-6, 50], ['al-16v-470u-general', 16, 470e-6, 16],
]
type Kinds = readonly (readonly [PartKind, MakeOptions])[]
const sound: Kinds = [['healthy', {}], ['stale', { depth: 0.5 }], ['stale', { depth: 0.9 }]]
/** As coarse as parameters may be: a quarter of the target at once. */
const coarse = { stepShare: 0.25, fineStepShare: 0.25, minStepS: 300 }

async function formed(
  [partProfile, voltageV, capacitanceF, targetV]: Rating, kinds: Kinds, ambientC: number, parameters = {},
): Promise<{ graded: string[]; drops: string[] }> {
  const scenario = {
    ...rackOf(kinds, 61), rated: { voltageV, capacitanceF }, partProfile, ambientC,
    cadence: { busMs: 3000, busQuietMs: 15_000, sweepMs: 5000, sweepQuietMs: 45_000, temperatureMs: 60_000 },
  }
  const bench = await virtualBench(scenario, 61)
  const slewVPerS = Math.min(5, Math.max(0.05, 0.1 * voltageV / 101e3 / capacitanceF))
  const run = await bench.night({ parameters: { targetV, soakS: 3600, watchS: 60, slewVPerS, ...parameters } })
  const events = await bench.store.events(run.id)
  return {
    graded: (await bench.store.results(run.id)).map(({ grade, disposition }) => `${grade}/${disposition}`),
    drops: events.filter(({ kind }) => kind === 'drop').map(({ text }) => text),
  }
}

describe('sound cans that are formed', () => {
  it.each(ratings)('%s: none is dropped with the usual steps in a room of 25 °C', async (...rating) => {
    expect(await formed(rating, sound, 25)).toEqual({ graded: sound.map(() => 'accept/use'), drops: [] })
  })
  it.each(ratings)('%s: with the coarsest steps none is dropped at 20 °C', async (...rating) => {
    expect(await formed(rating, sound, 20, coarse)).toEqual({ graded: sound.map(() => 'accept/use'), drops: [] })
  })
  it.each(ratings)('%s: with the coarsest steps at 30 °C one that gets too hot is to be formed again, never condemned', async (...rating) => {
    const { graded, drops } = await formed(rating, sound, 30, coarse)
    expect(graded.filter(one => one !== 'accept/use')).toEqual(drops.map(() => 'cannot tell/form'))
    for (const text of drops) expect(text).toMatch(/forming warmed the can, and its current falls/)
  })
})

describe('a can that warms itself', () => {
  it.each(ratings.slice(0, 2))('%s: dropped as too hot and condemned, in a room of 17 °C too', async (...rating) => {
    const { graded, drops } = await formed(rating, [['overheating', { atFraction: 0.9, afterS: 300 }], ['healthy', {}]], 17)
    expect(graded).toEqual(['reject/replace', 'accept/use'])
    expect(drops.join()).toMatch(/P01.*the can is too hot/)
  })
})
