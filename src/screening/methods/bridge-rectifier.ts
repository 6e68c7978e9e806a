/**
 * A bridge rectifier: which leg is plus, minus and alternating is found by looking between all legs under
 * the probing limits; then each of its four junctions is read forward and in reverse by itself, since two in
 * line would hide a leaky one behind a sound one.
 */
import { formatSi } from '../../base/format.ts'
import { probing, swapped, type Jig, type Pair, type Terminal } from '../../schema/jig.ts'
import type { Measured } from '../../schema/reading.ts'
import { faulty, found, type Finding, type Proof } from '../proof.ts'
import type { BridgeRectifier } from '../to-prove.ts'
import { leakedAt, seleniumCautions } from './selenium.ts'
import { readSteady } from './steady.ts'

const pulseMs = 20
const reverseMs = 200
/** Both ways below this at the probing current is a short, volts. */
const shortV = 0.05
export const fourLegs: readonly Terminal[] = [1, 2, 3, 4]

/** One look from a leg to another. */
export interface Edge {
  readonly pair: Pair
  readonly conducts: boolean
  readonly volts: number
}
export interface BridgeLegs {
  readonly plus: Terminal
  readonly minus: Terminal
  readonly ac: readonly [Terminal, Terminal]
}
export type FoundBridge =
  | BridgeLegs
  | { readonly fault: 'short' | 'open' | 'other kind'; readonly says: string }

/** The four junctions as pairs from anode to cathode, with their names. */
const junctionsOf = ({ plus, minus, ac }: BridgeLegs): { pair: Pair; name: string }[] => [
  ...ac.map(leg => ({ pair: { high: leg, low: plus }, name: `${leg} to plus` })),
  ...ac.map(leg => ({ pair: { high: minus, low: leg }, name: `minus to ${leg}` })),
]

/** Every leg to every other, each under the probing limits. */
export async function lookAround(jig: Jig, among: readonly Terminal[]): Promise<Edge[]> {
  const edges: Edge[] = []
  for (const high of among) {
    for (const low of among.filter(leg => leg !== high)) {
      const { voltage, limited } = await jig.force(
        { high, low }, { currentA: probing.currentA, limitV: probing.voltageV }, pulseMs)
      edges.push({ pair: { high, low }, conducts: !limited, volts: Math.abs(voltage.value) })
    }
  }
  return edges
}

/**
 * Pure: what twelve looks say. Two junctions in line conduct only where both together are below the probing
 * volts: of arms with several plates nobody knows.
 */
export function judgeBridge(edges: readonly Edge[], isStringSure = true): FoundBridge {
  const on = (high: Terminal, low: Terminal): Edge | undefined =>
    edges.find(({ pair, conducts }) => conducts && pair.high === high && pair.low === low)
  const short = edges.find(({ pair: { high, low }, conducts, volts }) =>
    conducts && volts < shortV && (on(low, high)?.volts ?? Infinity) < shortV)
  if (short) return { fault: 'short', says: `legs ${short.pair.high} and ${short.pair.low} are shorted` }
  const loose = fourLegs.find(leg =>
    edges.every(({ pair, conducts }) => !conducts || (pair.high !== leg && pair.low !== leg)))
  if (edges.every(({ conducts }) => !conducts)) return { fault: 'open', says: 'no leg conducts to another' }
  if (loose !== undefined) return { fault: 'open', says: `leg ${loose} leads nowhere: it is open` }
  for (const legs of arrangements) {
    const expected = expectedOf(legs)
    const isString = ({ high, low }: Pair): boolean => high === legs.minus && low === legs.plus
    const missing = expected.filter(pair => !on(pair.high, pair.low) && (isStringSure || !isString(pair)))
    const extra = edges.filter(({ pair, conducts }) =>
      conducts && !expected.some(({ high, low }) => high === pair.high && low === pair.low))
    if (extra.length > 0 || missing.length > 1) continue
    const [lost] = missing
    if (!lost) return legs
    return { fault: 'open', says: `the junction from leg ${lost.high} to leg ${lost.low} is open` }
  }
  const pairs = edges.filter(({ conducts }) => conducts).map(({ pair }) => `${pair.high} to ${pair.low}`)
  return { fault: 'other kind', says: `${pairs.join(', ')} conduct: no sound bridge of four junctions` }
}

/** Every way in which four legs can be a bridge; the two alternating ones are as good either way. */
const arrangements: readonly BridgeLegs[] = fourLegs.flatMap(plus =>
  fourLegs.filter(leg => leg !== plus).map(minus => ({
    plus, minus, ac: fourLegs.filter(leg => leg !== plus && leg !== minus) as [Terminal, Terminal],
  })))

/** Four junctions, and both strings of two in line. */
const expectedOf = (legs: BridgeLegs): Pair[] =>
  [...junctionsOf(legs).map(({ pair }) => pair), { high: legs.minus, low: legs.plus }]

export async function proveBridgeRectifier(jig: Jig, part: BridgeRectifier): Promise<Proof> {
  const { selenium } = part
  const legs = judgeBridge(await lookAround(jig, fourLegs), selenium === undefined)
  if ('fault' in legs) return faulty(legs.fault, legs.says)
  const findings: Finding[] = []
  for (const { pair, name } of junctionsOf(legs)) {
    for (const point of selenium ? [selenium.first, part.forward] : [part.forward]) {
      const forward = await ahead(jig, pair, point, name)
      if ('fault' in forward) return forward
      findings.push(forward)
    }
  }
  for (const { pair, name } of junctionsOf(legs)) findings.push(await back(jig, pair, part, name))
  const of = (name: Finding['name']): number[] =>
    findings.filter(finding => finding.name === name).map(({ measured }) => measured.value)
  const says = `plus ${legs.plus}, minus ${legs.minus}, alternating ${legs.ac.join(' and ')}`
  return found(findings, {
    forwardMostV: Math.max(...of('forward voltage')), forwardLeastV: Math.min(...of('forward voltage')),
    reverseMostA: Math.max(...of('reverse current')),
  }, [says, ...selenium ? seleniumCautions : []])
}

async function ahead(
  jig: Jig, pair: Pair, { currentA, volt }: BridgeRectifier['forward'], name: string,
): Promise<Finding | Proof & { fault: NonNullable<Proof['fault']> }> {
  const limitV = Math.min(jig.reach.source!.voltageMaxV, 2 * (volt.high ?? probing.voltageV))
  const read = async (): Promise<Measured> => (await jig.force(pair, { currentA, limitV }, pulseMs)).voltage
  const { value, u, moved, isSteady, quality } = await readSteady(read)
  if (quality === 'good' && !isSteady) {
    const says = `${name} moved by ${formatSi(moved, 'V', 3)} while it was read: a poor contact`
    return { ...faulty('poor contact', says), fault: { is: 'poor contact', says } }
  }
  return {
    name: 'forward voltage', measured: { value, u }, unit: 'V', limit: volt,
    conditions: `${name}, ${formatSi(currentA, 'A')}, pulse of ${pulseMs} ms`,
  }
}

async function back(
  jig: Jig, pair: Pair, { reverse: { voltageV, ampere } }: BridgeRectifier, name: string,
): Promise<Finding> {
  const limitA = Math.min(jig.reach.source!.currentMaxA, Math.max(20 * (ampere.high ?? 0), 1e-6))
  const point = await jig.force(swapped(pair), { voltageV, limitA }, reverseMs)
  return {
    name: 'reverse current', measured: leakedAt(point, voltageV), unit: 'A', limit: ampere,
    conditions: `${name}, ${formatSi(voltageV, 'V')}`,
  }
}
