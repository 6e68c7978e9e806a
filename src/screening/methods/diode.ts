/** Diodes, light-emitting diodes and zeners: which way round, forward points, reverse current, breakdown. */
import { formatSi } from '../../base/format.ts'
import { probing, swapped, type Jig, type Pair, type Point } from '../../schema/jig.ts'
import { faulty, found, type Finding, type Proof } from '../proof.ts'
import type { Diode } from '../to-prove.ts'
import { leakedAt, seleniumCautions, stackLies } from './selenium.ts'
import { readSteady } from './steady.ts'

/** Forward points are pulses: a junction that warms by 1 K reads 2 mV low (from memory). */
const pulseMs = 20
const reverseMs = 200
/** Below this at the probing current both ways it is a short, volts. */
const shortV = 0.05
/** A slope is read this far to either side of the current: 10 % of it, as the trade does (from memory). */
const slopeShare = 0.1

type Way = 'forward' | 'reversed' | 'short' | 'open' | 'both ways'

/** Which way it conducts, never above the probing limits. */
export async function probeJunction(jig: Jig, pair: Pair): Promise<{ way: Way; ahead: Point; back: Point }> {
  const force = { currentA: probing.currentA, limitV: probing.voltageV }
  const ahead = await jig.force(pair, force, pulseMs)
  const back = await jig.force(swapped(pair), force, pulseMs)
  const conducts = (point: Point): boolean => !point.limited && point.voltage.value < 0.95 * probing.voltageV
  const low = (point: Point): boolean => conducts(point) && point.voltage.value < shortV
  if (low(ahead) && low(back)) return { way: 'short', ahead, back }
  if (conducts(ahead) && conducts(back)) return { way: 'both ways', ahead, back }
  if (conducts(ahead)) return { way: 'forward', ahead, back }
  return { way: conducts(back) ? 'reversed' : 'open', ahead, back }
}

/** `pair.high` is where the anode should be. */
export async function proveDiode(jig: Jig, pair: Pair, part: Diode): Promise<Proof> {
  const { way: seen, ahead, back } = await probeJunction(jig, pair)
  // A stack of many plates lets through little below the probing volts, but not the same either way.
  const way = seen === 'open' && part.seleniumPlates ? await stackLies(jig, pair) : seen
  if (way === null) return faulty('cannot tell', 'which way round it lies does not show: both ways are alike')
  if (way === 'short') return faulty('short', 'it is a short both ways')
  // A light-emitting diode or a high zener does not conduct below the probing volts.
  if (way === 'open' && (part.seleniumPlates || lowestForwardV(part) < probing.voltageV))
    return faulty('open', 'it conducts neither way')
  if (way === 'both ways' && !breaksBelow(part, probing.voltageV)) {
    return faulty(
      'other kind',
      `it conducts both ways: ${formatSi(ahead.voltage.value, 'V', 3)} and ` +
        `${formatSi(back.voltage.value, 'V', 3)} at ${formatSi(probing.currentA, 'A')}`,
    )
  }
  const turned = way === 'reversed' || (way === 'both ways' && back.voltage.value < ahead.voltage.value)
  const lies = turned ? swapped(pair) : pair
  const moved = await movedV(jig, lies, part)
  if (moved !== null) {
    return faulty('poor contact', `its forward voltage moved by ${formatSi(moved, 'V', 3)}: a poor contact`)
  }
  const findings = [
    ...(await forwardPoints(jig, lies, part)),
    ...(await reversePoint(jig, lies, part)),
    ...(await breakdown(jig, lies, part)),
  ]
  const proof = found(findings, figuresOf(findings), part.seleniumPlates ? seleniumCautions : [])
  return turned
    ? { ...proof, fault: { is: 'reversed', says: 'it lies in the jig the other way round' } }
    : proof
}

/** With what a scanner on the way leaves open, where there is one: not before it was seen to lie still. */
function onPath({ residuals }: Jig, point: Point): Point {
  const path = residuals.pointU?.(point)
  if (!path) return point
  const { voltage, current } = point
  return {
    ...point, voltage: { ...voltage, u: Math.hypot(voltage.u, path.voltageV) },
    current: { ...current, u: Math.hypot(current.u, path.currentA) },
  }
}

/** At the largest forward current, where a contact in line shows most. */
async function movedV(jig: Jig, pair: Pair, { forward }: Diode): Promise<number | null> {
  const currentA = Math.max(...forward.map(point => point.currentA))
  const mostV = Math.max(10, 2 * Math.max(...forward.map(({ volt }) => volt.high ?? 0)))
  const limitV = Math.min(jig.reach.source!.voltageMaxV, mostV)
  const { moved, isSteady, quality } = await readSteady(
    async () => (await jig.force(pair, { currentA, limitV }, pulseMs)).voltage,
  )
  return quality === 'good' && !isSteady ? moved : null
}

const lowestForwardV = ({ forward }: Diode): number => Math.min(...forward.map(({ volt }) => volt.low ?? 0))
const breaksBelow = ({ zener }: Diode, voltageV: number): boolean =>
  zener !== null && (zener.volt.low ?? 0) < voltageV

async function forwardPoints(jig: Jig, pair: Pair, { forward }: Diode): Promise<Finding[]> {
  const findings: Finding[] = []
  for (const { currentA, volt } of forward) {
    const limitV = Math.min(jig.reach.source!.voltageMaxV, 2 * (volt.high ?? probing.voltageV))
    const { voltage, limited } = onPath(jig, await jig.force(pair, { currentA, limitV }, pulseMs))
    findings.push({
      atLeast: limited,
      name: 'forward voltage',
      measured: voltage,
      unit: 'V',
      limit: volt,
      conditions: `${formatSi(currentA, 'A')}, pulse of ${pulseMs} ms`,
    })
  }
  return findings
}

async function reversePoint(jig: Jig, pair: Pair, { reverse }: Diode): Promise<Finding[]> {
  if (!reverse) return []
  const limitA = Math.min(jig.reach.source!.currentMaxA, Math.max(20 * (reverse.ampere.high ?? 0), 1e-6))
  const point = onPath(
    jig, await jig.force(swapped(pair), { voltageV: reverse.voltageV, limitA }, reverseMs))
  return [
    {
      atLeast: point.limited,
      name: 'reverse current',
      measured: leakedAt(point, reverse.voltageV),
      unit: 'A',
      limit: reverse.ampere,
      conditions: `${formatSi(reverse.voltageV, 'V')}, in the dark`,
    },
  ]
}

/** Breakdown at its current, and the slope from a tenth below to a tenth above. */
async function breakdown(jig: Jig, pair: Pair, { zener }: Diode): Promise<Finding[]> {
  if (!zener) return []
  const limitV = jig.reach.source!.voltageMaxV
  const at = (currentA: number): Promise<Point> => jig.force(swapped(pair), { currentA, limitV }, pulseMs)
  const { voltage, limited } = onPath(jig, await at(zener.currentA))
  const conditions = `${formatSi(zener.currentA, 'A')}, pulse of ${pulseMs} ms`
  const value: Finding = {
    name: 'zener voltage',
    measured: voltage,
    unit: 'V',
    limit: zener.volt,
    conditions,
    atLeast: limited,
  }
  if (!zener.slopeOhm) return [value]
  const low = await at(zener.currentA * (1 - slopeShare))
  const high = await at(zener.currentA * (1 + slopeShare))
  const apartA = high.current.value - low.current.value
  const slope = (high.voltage.value - low.voltage.value) / apartA
  // Both points share the range's error; noise and the last digit remain, bounded by the stated uncertainty.
  const u = Math.hypot(low.voltage.u, high.voltage.u) / apartA
  return [
    value,
    { name: 'zener slope', measured: { value: slope, u }, unit: 'Ω', limit: zener.slopeOhm, conditions },
  ]
}

function figuresOf(findings: readonly Finding[]): Record<string, number> {
  const named = {
    'forward voltage': 'forwardV',
    'reverse current': 'reverseA',
    'zener voltage': 'zenerV',
    'zener slope': 'zenerOhm',
  }
  const figures: Record<string, number> = {}
  for (const { name, measured, conditions } of findings) {
    const key = named[name as keyof typeof named]
    figures[name === 'forward voltage' ? `${key} at ${conditions.split(',')[0]}` : key] = measured.value
  }
  return figures
}
