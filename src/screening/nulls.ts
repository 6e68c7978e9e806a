/**
 * Finding what the jig itself adds: what is read of it empty, and with a bare wire across terminals 1 and 2,
 * at the frequencies that methods use. What cannot be the empty jig or the wire is told, and no row made.
 */
import { fromAdmittance, toAdmittance, type Admittance, type Impedance } from '../analysis/impedance.ts'
import { BenchError } from '../base/errors.ts'
import type { Clock } from '../base/clock.ts'
import { formatSi } from '../base/format.ts'
import type { NullRow } from '../schema/compensation.ts'
import type { ImpedanceReading, Jig, JigReach, Pair } from '../schema/jig.ts'
import type { Measured } from '../schema/reading.ts'
import { usualContact, type ContactRule, type Look } from './contact.ts'
import { nearestHz } from './methods/reactive.ts'
import { steadyOf, steadyReadings } from './methods/steady.ts'
import { rowOf } from './residuals.ts'
import type { ZeroName } from './session.ts'
import type { ToProve } from './to-prove.ts'

/** Two numbers with the standard uncertainty of either; ohms of a wire, siemens of an empty jig. */
interface Short extends Impedance { readonly u: number }
interface Open extends Admittance { readonly u: number }
/** By frequency; null where the bridge does not reach so far. */
export type ShortRead = ReadonlyMap<number, Short>
export type OpenRead = ReadonlyMap<number, Open | null>

const ends: Pair = { high: 1, low: 2 }
/** Those at which capacitors are measured (`capacitorConditions`), and in between. */
const usualHz = [120, 1e3, 10e3, 1e6]
const lookHz = 1e3
const levelV = 1
/** No jig with leads of a foot or two has more: something lies in it (from memory). */
export const mostEmpty = { farad: 20e-12, siemens: 1e-6 } as const
/** What has more is no wire. */
export const mostWireOhm = 2
/** Here nothing is led between the terminals that a person would call empty. */
const emptyOhm = 1e5
/** A wire that is pressed lies still where it moves by less, Ω (modelling choice). */
const wireNoiseOhm = 1e-3
/**
 * What insulation has at one frequency it has at another to this share (modelling choice): so far a bridge
 * that sees nothing at a low frequency is helped out by what it sees at a higher one.
 */
const dispersion = 0.1

/** At which the jig is compensated for these parts; none without a bridge. */
export function nullFrequencies(parts: readonly ToProve[], reach: JigReach): number[] {
  if (!reach.bridge) return []
  const inductors = parts.flatMap(part => part.kind === 'inductor' ? [part.frequencyHz] : [])
  return [...new Set([...usualHz, ...inductors].map(hertz => nearestHz(hertz, reach)))].sort((a, b) => a - b)
}

/** What is asked for to compensate this jig: without a bridge nothing is seen of it empty. */
export function zerosFor({ bridge, ohms }: JigReach): ZeroName[] {
  if (bridge) return ['empty jig', 'shorting wire']
  if (ohms?.wires.includes(2)) return ['shorting wire']
  throw new BenchError('REFUSED', 'the jig cannot be compensated', {
    expected: 'a bridge, or an ohm meter with two wires, that reaches it', got: 'neither',
  })
}

// ---- seeing it ----

/** When the jig is empty, for the empty jig and the wire. */
export function zeroContact(what: ZeroName, { bridge }: JigReach): ContactRule {
  if (what === 'shorting wire' || !bridge) return { ...usualContact, openOhm: emptyOhm }
  return { ...usualContact, openOhm: 1 / (2 * Math.PI * lookingHz(bridge) * mostEmpty.farad) }
}

const lookingHz = (bridge: NonNullable<JigReach['bridge']>): number =>
  nearestHz(lookHz, { bridge } as JigReach)

export async function lookAtZero(jig: Jig, clock: Clock): Promise<Look> {
  const { bridge } = jig.reach
  const setup = { frequencyHz: bridge ? lookingHz(bridge) : 0, levelV: levelAt(jig) }
  const read = bridge ? sizeOf(await jig.impedance(ends, setup))
    : await jig.resistance(ends, { mostOhm: 'any', wires: 2 })
  const isGood = read.quality === 'good'
  return {
    atMs: clock.monotonicMs(), ohm: isGood ? Math.abs(read.value) : Infinity,
    noiseOhm: Math.max(wireNoiseOhm, isGood ? read.u / 10 : 0),
  }
}

const sizeOf = ({ rOhm, xOhm }: ImpedanceReading): Measured => ({
  value: Math.hypot(rOhm.value, xOhm.value), u: Math.hypot(rOhm.u, xOhm.u), atMs: rOhm.atMs,
  quality: rOhm.quality === 'good' ? xOhm.quality : rOhm.quality,
})

/** One volt, or the nearest that the bridge has. */
function levelAt({ reach }: Jig): number {
  const { minV = levelV, maxV = levelV } = reach.bridge?.levelsV ?? {}
  return Math.min(maxV, Math.max(minV, levelV))
}

// ---- measuring it ----

/** In one sentence what it is instead. */
export interface Wrong { readonly wrong: string }

/** `turned` is called as each frequency is through; `most`: more than that is not empty. */
export async function readOpen(
  jig: Jig, frequenciesHz: readonly number[], turned: () => void = () => {},
  most: { readonly farad: number; readonly siemens: number } = mostEmpty,
): Promise<OpenRead | Wrong> {
  const read = new Map<number, Open | null>()
  for (const hertz of frequenciesHz) {
    const [gS, bS] = steadyBoth(await readings(jig, hertz), asAdmittance)
    turned()
    if (gS.quality === 'over-range' || gS.quality === 'missing') {
      read.set(hertz, null)
      continue
    }
    const at = formatSi(hertz, 'Hz')
    if (gS.quality !== 'good') return { wrong: `the bridge gave no number at ${at}: ${gS.quality}` }
    const farad = bS.value / (2 * Math.PI * hertz)
    if (Math.abs(farad) > most.farad || Math.abs(gS.value) > most.siemens) {
      const z = fromAdmittance({ gS: gS.value, bS: bS.value })
      const [ohm, farads] = [formatSi(Math.hypot(z.rOhm, z.xOhm), 'Ω'), formatSi(farad, 'F')]
      return { wrong: `something lies in the jig: ${ohm} at ${at}, ${farads}. Take it out, or say measure` }
    }
    if (!gS.isSteady || !bS.isSteady) {
      return { wrong: `the empty jig is not still at ${at}. Hands off, then say measure` }
    }
    read.set(hertz, { gS: gS.value, bS: bS.value, u: Math.max(gS.u, bS.u) })
  }
  return read
}

/** Of the wire; 0 Hz is what two wires of the ohm-meter read of it. `mostOhm`: more than that is no wire. */
export async function readShort(
  jig: Jig, frequenciesHz: readonly number[], turned: () => void = () => {}, mostOhm = mostWireOhm,
): Promise<ShortRead | Wrong> {
  const read = new Map<number, Short>()
  for (const hertz of [...jig.reach.ohms?.wires.includes(2) ? [0] : [], ...frequenciesHz]) {
    const [rOhm, xOhm] = hertz === 0 ? [steadyOf(await leadReadings(jig, mostOhm)), null]
      : steadyBoth(await readings(jig, hertz), z => z)
    turned()
    const at = hertz === 0 ? 'to the ohm-meter' : `at ${formatSi(hertz, 'Hz')}`
    if (rOhm.quality !== 'good') return { wrong: `this is no wire across 1 and 2: no number ${at}` }
    const size = Math.hypot(rOhm.value, xOhm?.value ?? 0)
    if (size > mostOhm) return { wrong: `this is no wire: ${formatSi(size, 'Ω')} ${at}` }
    if (!rOhm.isSteady || xOhm?.isSteady === false) {
      const moved = formatSi(Math.max(rOhm.moved, xOhm?.moved ?? 0), 'Ω')
      return { wrong: `a poor contact: the wire moved by ${moved} ${at} while it was read` }
    }
    read.set(hertz, { rOhm: rOhm.value, xOhm: xOhm?.value ?? 0, u: Math.max(rOhm.u, xOhm?.u ?? 0) })
  }
  return read
}

async function readings(jig: Jig, frequencyHz: number): Promise<ImpedanceReading[]> {
  const read: ImpedanceReading[] = []
  for (let i = 0; i < steadyReadings; i++) {
    read.push(await jig.impedance(ends, { frequencyHz, levelV: levelAt(jig) }))
  }
  return read
}

async function leadReadings(jig: Jig, mostOhm: number): Promise<Measured[]> {
  const read: Measured[] = []
  for (let i = 0; i < steadyReadings; i++) {
    read.push(await jig.resistance(ends, { mostOhm, wires: 2 }))
  }
  return read
}

type Two = Pick<ImpedanceReading, 'rOhm' | 'xOhm'>

/** Both numbers of some readings, each as steady as it is; a bad one of a pair makes both bad. */
function steadyBoth(
  read: readonly ImpedanceReading[], as: (one: Two) => Two,
): [ReturnType<typeof steadyOf>, ReturnType<typeof steadyOf>] {
  const whole = read.map(one => {
    const { quality } = sizeOf(one)
    return as({ rOhm: { ...one.rOhm, quality }, xOhm: { ...one.xOhm, quality } })
  })
  return [steadyOf(whole.map(({ rOhm }) => rOhm)), steadyOf(whole.map(({ xOhm }) => xOhm))]
}

/** dY = -Y²·dZ: the admittance in place of the impedance, siemens in place of ohms. */
function asAdmittance({ rOhm, xOhm }: Two): Two {
  const { gS, bS } = toAdmittance({ rOhm: rOhm.value, xOhm: xOhm.value })
  const u = (gS * gS + bS * bS) * Math.max(rOhm.u, xOhm.u)
  return { rOhm: { ...rOhm, value: gS, u }, xOhm: { ...xOhm, value: bS, u } }
}

// ---- what is kept of it ----

/** One row a frequency of the wire. `of`: which jig and instruments. */
export function nullRows(of: string, open: OpenRead, short: ShortRead): NullRow[] {
  return [...short].map(([frequencyHz, { rOhm, xOhm, u }]) => {
    const beside = openAt(open, frequencyHz)
    return {
      of, frequencyHz, shortOhm: rOhm, shortReactanceOhm: xOhm, shortU: u, openS: beside?.gS ?? null,
      openSusceptanceS: beside?.bS ?? null, openU: beside?.u ?? null,
    }
  })
}

/** Where the bridge did not reach, by what it saw at the next higher frequency, with less certainty. */
export function openAt(open: OpenRead, hertz: number): Open | null {
  if (hertz === 0) return null
  const seen = open.get(hertz)
  if (seen) return seen
  const higher = [...open].filter(([at, read]) => at > hertz && read !== null).sort(([a], [b]) => a - b)[0]
  if (!higher) return null
  const [at, { gS, bS, u }] = higher as [number, Open]
  const share = hertz / at
  return { gS: gS * share, bS: bS * share, u: share * Math.hypot(u, dispersion * bS) }
}

/** `12.0 mΩ and 0.110 µH in series, 0.900 pF beside, leads 0.210 Ω`. */
export function nullsInWords(rows: readonly NullRow[]): string {
  const onBridge = rows.filter(({ frequencyHz }) => frequencyHz > 0)
    .sort((a, b) => a.frequencyHz - b.frequencyHz)
  const [low, high, leads] = [onBridge[0], onBridge.at(-1), rowOf(rows, 0)]
  const says: string[] = []
  if (low && high) {
    const [omega, beside] = [2 * Math.PI * high.frequencyHz, high.openSusceptanceS]
    const henry = formatSi(high.shortReactanceOhm / omega, 'H', 2)
    says.push(`${formatSi(low.shortOhm, 'Ω', 2)} and ${henry} in series`,
      beside === null ? 'nothing beside that the bridge sees' : `${formatSi(beside / omega, 'F', 2)} beside`)
  }
  if (leads) says.push(`leads ${formatSi(leads.shortOhm, 'Ω', 2)}`)
  return says.join(', ')
}
