/** The studies: one undisturbed for each way of drawing errors, and some in which the model is wrong. */
import type { NightSetup, Outcome } from './night.ts'
import { oneNight } from './night.ts'
import { drawPart, usualDraw, type PartDraw } from './parts.ts'

export interface Study {
  readonly says: string
  readonly draw: PartDraw
  readonly setup: NightSetup
}

const normal = { errors: { model: 'normal' } } as const satisfies NightSetup
const always = (kind: 'reading-gain' | 'reading-jump', value: number) => [{ kind, value }]

export const studies = {
  normal: {
    says: 'every fixed error normal, with the standard uncertainty that its declared limit stands for',
    draw: usualDraw, setup: normal,
  },
  rectangular: {
    says: 'every fixed error anywhere within its declared limit, as data sheets and profiles have it',
    draw: usualDraw, setup: { errors: { model: 'rectangular' } },
  },
  forming: {
    says: 'wrong exponent: leakage through oxide not formed to the rated voltage, 30 and more, not 1 to 5.5',
    draw: { ...usualDraw, forming: 1 }, setup: normal,
  },
  'long-hot': {
    says: 'wrong exponent: five minutes of formal time in a can that the leakage itself heats by some 20 K',
    draw: { ...usualDraw, forming: 0, profiles: ['al-350v-50u-vintage'] }, setup: normal,
  },
  drift: {
    says: 'meter and bridge drifted: both read 0.3 % too much',
    draw: usualDraw,
    setup: { ...normal, faults: { instruments: {
      'sense-dmm': always('reading-gain', 1.003), bridge: always('reading-gain', 1.003),
    } } },
  },
  noisy: {
    says: 'the sense meter scatters five times as much as its profile says',
    draw: usualDraw, setup: { errors: { model: 'normal', noiseFactor: { 'sense-dmm': 5 } } },
  },
  'very-noisy': {
    says: 'the sense meter scatters a hundred times as much as its profile says',
    draw: usualDraw, setup: { errors: { model: 'normal', noiseFactor: { 'sense-dmm': 100 } } },
  },
  warm: {
    says: 'the air stands at 30 °C, while every limit is meant at 20 °C',
    draw: { ...usualDraw, ambientC: 30 }, setup: { ...normal, limitsAtC: 20 },
  },
} as const satisfies Record<string, Study>

export type StudyName = keyof typeof studies
export const isStudy = (name: string): name is StudyName => Object.hasOwn(studies, name)

/** Parts `from` up to but without `to` of a study. */
export async function runStudy(name: StudyName, seed: number, from: number, to: number): Promise<Outcome[]> {
  const { draw, setup } = studies[name]
  const outcomes: Outcome[] = []
  for (let index = from; index < to; index++) {
    outcomes.push(await oneNight(index, drawPart(seed, index, draw), setup))
  }
  return outcomes
}
