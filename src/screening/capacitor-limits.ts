/**
 * What capacitors of each dielectric may leak and lose, with where each figure comes from. Resistance of
 * insulation stands in ohms, or as R·C in seconds, whichever asks less of the part; what it lets through at
 * the rated volts is the limit. Pure; SI units.
 */
import { leakageLimit } from '../sequences/leakage-limit.ts'
import type { Capacitor, Leakage, Limit } from './to-prove.ts'

export type Dielectric = Capacitor['dielectric']

/** Loss at the frequency of measurement, new parts. */
export const lossMost: Readonly<Record<Dielectric, Limit>> = {
  film: { high: 0.01, source: 'polyester film at 1 kHz, data sheets', isUsual: true },
  'ceramic-1': { high: 0.0015, source: 'class 1 ceramic, from memory', isUsual: true },
  'ceramic-2': { high: 0.05, source: 'class 2 ceramic, data sheets', isUsual: true },
  mica: { high: 0.001, source: 'silver mica, from memory', isUsual: true },
  paper: { high: 0.01, source: 'paper, common practice', isUsual: true },
  electrolytic: {
    high: 0.25, source: 'aluminium electrolytic at 120 Hz, catalogues, from memory', isUsual: true,
  },
  tantalum: { high: 0.08, source: 'solid tantalum at 120 Hz, from memory', isUsual: true },
}

interface Insulation {
  readonly leastOhm: number
  /** R·C, s: larger parts may leak in proportion. */
  readonly leastS: number
  readonly afterS: number
  readonly source: string
}

/** What the list calls film may be polyester, which asks least: what is better than that is no defect. */
const lowVoltageFilm: Insulation = {
  leastOhm: 3.75e9, leastS: 1250, afterS: 60, source: 'polyester film up to 100 V, 1 min, from memory',
}
const insulationOf: Readonly<Record<Exclude<Dielectric, 'electrolytic' | 'tantalum'>, Insulation>> = {
  film: {
    leastOhm: 15e9, leastS: 5000, afterS: 60, source: 'polyester film above 100 V, 1 min, from memory',
  },
  'ceramic-1': {
    leastOhm: 10e9, leastS: 500, afterS: 60, source: 'class 1 ceramic, as class 2, from memory',
  },
  'ceramic-2': {
    leastOhm: 10e9, leastS: 500, afterS: 60,
    source: 'class 2 ceramic at rated volts, 1 min, a maker\'s table of tests (read)',
  },
  mica: { leastOhm: 100e9, leastS: 1000, afterS: 60, source: 'silver mica, from memory' },
  paper: {
    leastOhm: 100e6, leastS: 100, afterS: 120,
    source: 'paper: coupling capacitors below 100 MΩ are condemned, common practice; 2 min, from memory',
  },
}
/** Metallised, where the list says that it is polypropylene. */
const polypropylene: Insulation = {
  leastOhm: 100e9, leastS: 30_000, afterS: 60, source: 'polypropylene film, 1 min, maker data sheets (read)',
}
/** Across the mains or to earth, whatever film it is. */
const mainsFilm: Insulation = {
  leastOhm: 15e9, leastS: 5000, afterS: 60, source: 'capacitors of a mains class, 1 min, from memory',
}

export interface Rated {
  readonly dielectric: Dielectric
  readonly farad: number
  readonly ratedV: number
  readonly isPolar: boolean
  readonly isMains: boolean
  /** Of film: the list says that it is polypropylene. */
  readonly isPropylene?: boolean
}

/** Most current at the rated volts, and after what time it is read. */
export function leakageMost(rated: Rated): Leakage {
  const { dielectric, ratedV, farad } = rated
  if (dielectric === 'electrolytic' || dielectric === 'tantalum') return electrolyticMost(rated)
  const insulation = dielectric === 'film' ? filmOf(rated) : insulationOf[dielectric]
  const { leastOhm, leastS, afterS, source } = insulation
  const ohm = Math.min(leastOhm, leastS / farad)
  return { ratedV, afterS, ampere: { high: ratedV / ohm, source } }
}

function filmOf({ isMains, isPropylene, ratedV }: Rated): Insulation {
  if (isMains) return mainsFilm
  if (isPropylene) return polypropylene
  return ratedV <= 100 ? lowVoltageFilm : insulationOf.film
}

function electrolyticMost({ dielectric, farad, ratedV, isPolar }: Rated): Leakage {
  const criterion = dielectric === 'tantalum'
    ? {
        factor: 0.01, offsetUa: 0, floorUa: 0.5, afterS: 300,
        source: 'solid tantalum, the larger of 0.01·C·V and 0.5 µA, 5 min, from memory',
      }
    : isPolar ? { family: 'general' as const }
      : {
          factor: 0.03, offsetUa: 3, floorUa: 0, afterS: 300,
          source: 'non-polar electrolytic, 0.03·C·V + 3 µA, 5 min, maker data sheet (read)',
        }
  const { limitA, afterS, source } = leakageLimit(criterion, farad, ratedV)
  return { ratedV, afterS, ampere: { high: limitA, source } }
}

export const propyleneAbsorption: Limit =
  { high: 0.001, source: 'polypropylene film, 0.05 to 0.1 %, a maker\'s note (read)' }

/** What comes back after a short, as a share of the volts it was charged to. */
export const absorptionMost: Readonly<Record<Dielectric, Limit>> = {
  film: { high: 0.0025, source: 'polyester film, 0.2 to 0.25 %, a maker\'s note (read)' },
  'ceramic-1': { high: 0.006, source: 'class 1 ceramic, 0.3 to 0.6 %, a printed table (read)' },
  'ceramic-2': {
    high: 0.025, source: 'class 2 ceramic, up to 2.5 %, a maker\'s note and a printed table (read)',
  },
  mica: { high: 0.05, source: 'silver mica, 0.3 to 1 %, some up to 5 %, from memory' },
  paper: { high: 0.05, source: 'paper in oil, 1 to 5 %, from memory' },
  electrolytic: { high: 0.15, source: 'aluminium electrolytic, 10 to 15 %, an encyclopaedia (read)' },
  tantalum: { high: 0.1, source: 'solid tantalum, 2 to 3 %, up to 10 %, an encyclopaedia (read)' },
}
