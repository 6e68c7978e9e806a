/** What a charged capacitor lets through and gives back; its bleeder, where one lies across it. */
import { formatDuration, formatSi } from '../../base/format.ts'
import type { Charged as ChargedReading, Jig, Pair, Point } from '../../schema/jig.ts'
import { found, type Finding, type Proof } from '../proof.ts'
import { chargingOf, type Charged } from './charging.ts'
import type { Guide } from './guide.ts'
import { bleederFindings } from './mains-part.ts'
import { findPlus } from './polarity.ts'

/** What a person said of the part that lies in the jig. */
export interface Told { readonly plusAt?: 1 | 2 }
interface Known { readonly value: number; readonly u: number }

/** Current that grows by more than this between half of the time and all of it does not settle. */
const risingShare = 0.05

/** `farad`: its capacitance as the bridge read it. */
export async function chargedFindings(
  jig: Jig, pair: Pair, part: Charged, { farad, told, guide }: { farad: Known; told: Told; guide: Guide },
): Promise<Proof> {
  const plus = part.isPolar ? told.plusAt ?? await findPlus(jig, pair, part) : 1
  if (plus === null) return whichEnd
  const { charge, mostA, isCovered } = chargingOf(part, jig.reach.source!)
  const sign = plus === 1 ? 1 : -1
  const { readAtMs, recovery } = charge
  const longMs = readAtMs.at(-1)! + (recovery ? recovery.shortMs + recovery.openMs : 0)
  const lasts = `${formatSi(charge.voltageV, 'V')}, ${formatDuration(longMs / 1000)}`
  // What is said of touching it stays the last that was said.
  if (!isCovered) guide.say(`leave it where it is: ${lasts}`)
  const reading = await jig.charge(pair, { ...charge, voltageV: sign * charge.voltageV })
  const proof = readingProof(part, { reading, farad, sign, mostA, voltageV: charge.voltageV })
  if (plus === 1) return proof
  return { ...proof, fault: reversed }
}

const reversed: Proof['fault'] = {
  is: 'reversed', says: 'it lies in the jig the other way round, or is marked so: plus is at terminal 2',
}

const whichEnd: Proof = {
  ...found([]),
  fault: {
    is: 'cannot tell',
    says: 'which end is plus cannot be found, so it was not charged',
    asks: 'Look at its mark: plus at 1, plus at 2, keep or skip?',
  },
}

interface Seen {
  readonly reading: ChargedReading
  readonly farad: Known
  readonly sign: 1 | -1
  readonly mostA: number
  readonly voltageV: number
}

function readingProof(part: Charged, seen: Seen): Proof {
  const { reading: { isUp, points, leftV }, voltageV, sign, mostA } = seen
  const { leakage: { ratedV, afterS, ampere } } = part
  const fallen = isUp ? points.find(point => !stands(point, sign * voltageV)) : undefined
  if (fallen) return { ...found([], { leftV }), fault: fellWords(fallen, voltageV) }
  const at = points[Math.min(1, points.length - 1)]!
  const current = { ...at.current, value: sign * at.current.value }
  const ohm = sign * at.voltage.value / current.value
  const figures = { leakageA: current.value, leakageV: sign * at.voltage.value, leftV }
  const down = downNote(sign * at.voltage.value, current.value)
  const notes = [
    ...below(part, voltageV), ...isUp ? rising(seen) : [down], ...untoldBleeder(part, current, mostA),
  ]
  if (isUp && part.mains?.bleeder) {
    const bleeder = bleederFindings(part.mains, { ...at, farad: seen.farad })
    return joinedWith(bleeder, figures, [...notes, 'its insulation cannot be told beside its bleeder'])
  }
  const leakage: Finding = {
    name: 'leakage', measured: current, unit: 'A', atLeast: !isUp,
    conditions: `${formatSi(voltageV, 'V')}, after ${afterS} s`,
    limit: { high: mostA, source: atVolts(ampere.source, voltageV, ratedV) },
  }
  const insulation = current.value > 2 * current.u ? { insulationOhm: ohm } : {}
  const absorbed = absorption(part, seen)
  const said = isUp ? [insulationNote(current, voltageV, seen.farad)] : []
  return {
    ...found([leakage, ...absorbed.findings], { ...figures, ...insulation, ...absorbed.figures }),
    notes: [...said, ...notes],
  }
}

/** Volts within this share of what was set stand there (common practice: sources are ten times better). */
const standShare = 0.01

/** A source that went off, as by its interlock, reads no current and no volts: that is no insulation. */
const stands = ({ voltage }: Point, setV: number): boolean => voltage.quality === 'good'
  && Math.abs(voltage.value - setV) <= Math.max(standShare * Math.abs(setV), 3 * voltage.u)

const fellWords = ({ voltage }: Point, setV: number): NonNullable<Proof['fault']> => ({
  is: 'cannot tell',
  says: `its volts did not stand: ${formatSi(Math.abs(voltage.value), 'V', 3)} of ${formatSi(setV, 'V')}`,
})

const joinedWith = (proof: Proof, figures: Record<string, number>, notes: readonly string[]): Proof =>
  ({ ...proof, figures: { ...proof.figures, ...figures }, notes: [...proof.notes, ...notes] })

const atVolts = (source: string, voltageV: number, ratedV: number): string =>
  voltageV === ratedV ? source
    : `${source}; in proportion at ${formatSi(voltageV, 'V')} of ${formatSi(ratedV, 'V')}`

/** What it lets through at most, as resistance and as R·C. */
function insulationNote({ value, u }: Known, voltageV: number, farad: Known): string {
  const leastOhm = voltageV / (Math.max(value, 0) + 2 * u)
  return `insulation of at least ${formatSi(leastOhm, 'Ω', 2)}, `
    + `R·C of at least ${formatSi(leastOhm * farad.value, 's', 2)}`
}

const below = ({ leakage: { ratedV }, dielectric }: Charged, voltageV: number): string[] =>
  voltageV >= ratedV ? [] : [
    `charged to ${formatSi(voltageV, 'V')} of ${formatSi(ratedV, 'V')} rated: what it does above is not shown`
      + (dielectric === 'electrolytic' ? ', nor whether it is still formed to its rating' : ''),
  ]

/** What empties a part at the mains leaks as a fault does; only the list can tell which it is. */
const untoldBleeder = ({ mains }: Charged, { value, u }: Known, mostA: number): string[] =>
  mains && mains.bleeder === null && value > mostA + 2 * u
    ? ['where a bleeder lies across it, say so in its note: bleeder 1M'] : []

const downNote = (volts: number, amps: number): string =>
  `it does not come up: ${formatSi(amps, 'A', 3)} at ${formatSi(volts, 'V', 3)}`

function rising({ reading: { points } }: Seen): string[] {
  const [half, full] = points.map(({ current }) => current)
  if (!half || !full) return []
  const grown = Math.abs(full.value) - Math.abs(half.value)
  return grown > risingShare * Math.abs(half.value) + full.u / 2
    ? ['what it lets through grows while the volts stand'] : []
}

/** Time that the open part is on the source before its volts are read, s: its offset charges it meanwhile. */
const lookS = 0.1

function absorption(
  { absorption: limit }: Charged, { reading, farad, sign }: Seen,
): Pick<Proof, 'findings' | 'figures'> {
  const { recovered, points } = reading
  if (!limit || !recovered) return { findings: [], figures: {} }
  const charged = points.at(-1)!.voltage
  const share = sign * recovered.voltage.value / Math.abs(charged.value)
  const offsetV = (Math.abs(recovered.current.value) + recovered.current.u) * lookS / farad.value
  const u = Math.hypot(recovered.voltage.u, offsetV / Math.sqrt(3), share * charged.u)
    / Math.abs(charged.value)
  const finding: Finding = {
    name: 'absorption', measured: { ...recovered.voltage, value: share, u }, unit: '1', limit,
    conditions: '15 min charged, 10 s short, 15 min open',
  }
  return { findings: [finding], figures: { absorption: share, absorptionU: u } }
}
