/** What a burn-in found, told in the end. Pure. */
import { countedS, pointDrifts, type BurnIn } from './burn-in.ts'
import { driftsOf } from './drift.ts'
import { unitSays } from './early-failures.ts'
import type { PartResult } from '../schema/run.ts'
import type { BurnInFindings, UnitFindings } from '../schema/unit-findings.ts'
import { freshWarming, warmthOf } from './warmth.ts'

/** `failed`: it was shut down by a fault of its own. */
export function findingsOf(b: BurnIn, failed: boolean): UnitFindings {
  return { figures: [], claims: [], curves: [], left: leftOf(b), burnIn: burnInOf(b, failed) }
}

function burnInOf(b: BurnIn, failed: boolean): BurnInFindings {
  const { power: { clock, state }, warmthRules, parameters } = b
  const atS = countedS(b)
  const { failedAtS, alreadyCountedS } = parameters
  return {
    countedS: atS, askedS: b.askedS, wallS: (clock.wallMs() - b.startedWallMs) / 1000,
    switchings: b.switchings, lost: lostOf(b),
    says: unitSays(atS / 3600, failed, Math.min(failedAtS, alreadyCountedS) / 3600),
    drifts: [...driftsOf(b.book, of => unitOf(b, of), byMains), ...pointDrifts(b)],
    warmth: warmthRules.map(rules => warmthOf(rules, b.warming.get(rules.place) ?? freshWarming(b.key),
      state.last.get(rules.channel)?.u ?? NaN)),
  }
}

/** The longest first. Of reasons that held at once each has the whole of it. */
const lostOf = ({ clock: { lostMs } }: BurnIn): BurnInFindings['lost'] =>
  Object.entries(lostMs).map(([why, ms]) => ({ why, seconds: ms / 1000 }))
    .filter(({ seconds }) => seconds > 0).sort((a, b) => b.seconds - a.seconds)

const unitOf = ({ power: { places } }: BurnIn, of: string): string =>
  places.all.find(({ name }) => name === of.split(' ')[0])?.unit ?? ''

/** Rails and currents follow the mains, power its square, and heat is taken to follow it whole. */
function byMains(of: string): number {
  if (of === 'mains.power') return 2
  return /^(rail|idle|warm)\.|^mains\.current$/.test(of) ? 1 : 0
}

function leftOf({ power: { places }, heard }: BurnIn): string[] {
  const deaf = places.outputs.filter(led => !heard.includes(led)).map(({ spec }) => spec.name)
  return [
    ...deaf.length === 0 ? [] : [`level and distortion of ${deaf.join(', ')}: no digitizer is led there`],
    ...places.air !== null ? [] : ['the air: no thermometer of the stand is called air, so it was no '
      + 'condition, and whether sensors follow the heat beneath them was not looked at'],
  ]
}

/** Figures worth keeping beside the findings. */
export function figuresOf(b: BurnIn): PartResult['figures'] {
  const { inrush: { firstA, mostA } } = b
  return {
    countedH: countedS(b) / 3600, switchings: b.switchings,
    ...firstA === null ? {} : { inrushFirstA: firstA, inrushMostA: mostA },
  }
}
