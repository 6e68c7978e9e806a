/**
 * How one part is looked at and proven on a jig: which instrument sees it, when the jig counts as empty,
 * which method.
 */
import { BenchError } from '../base/errors.ts'
import type { Clock } from '../base/clock.ts'
import { usualResiduals } from '../schema/compensation.ts'
import type { Jig, Pair, Terminal } from '../schema/jig.ts'
import { probing } from '../schema/jig.ts'
import type { Measured } from '../schema/reading.ts'
import { usualContact, type ContactRule, type Look } from './contact.ts'
import type { Item } from './grade.ts'
import { proveBipolar } from './methods/bipolar.ts'
import { fourLegs, proveBridgeRectifier } from './methods/bridge-rectifier.ts'
import { capacitorConditions, proveCapacitor } from './methods/capacitor.ts'
import { proveDepletion } from './methods/depletion.ts'
import { proveDiode } from './methods/diode.ts'
import { proveJunctionFet, proveMosfet } from './methods/field-effect.ts'
import { lookJoined } from './methods/field-pins.ts'
import { proveGanged } from './methods/ganged.ts'
import { unguided, type Guide } from './methods/guide.ts'
import type { Told } from './methods/leakage.ts'
import { nearestHz, proveInductor } from './methods/reactive.ts'
import { provePotentiometer } from './methods/potentiometer.ts'
import { proveContact, proveResistor } from './methods/resistor.ts'
import { proveTransformer } from './methods/transformer.ts'
import { mostWindingOhm, sixPairs } from './methods/windings.ts'
import { proveWound } from './methods/wound.ts'
import type { Proof } from './proof.ts'
import type { ToProve } from './to-prove.ts'

const ends: Pair = { high: 1, low: 2 }
const pulseMs = 20
/** Impedance this many times that of the part which is asked for is an empty jig, or fingers. */
const emptyFactor = 1e4
/** Fingers across the terminals are seldom below this (common practice). */
const emptyLeastOhm = 1e5
/** Through a junction the probing current flows, or next to nothing does. */
const junctionOpenOhm = 1e6
/** An empty jig has less beside it, compensated or not: smaller capacitors are never seen to be there. */
const leastSeenF = 1.25 * usualResiduals.strayF

/** When the jig is empty, for a part of this kind and size. */
export function contactFor(part: ToProve, jig: Pick<Jig, 'reach'>): ContactRule {
  return { ...usualContact, openOhm: openOhmOf(part, jig) }
}

function openOhmOf(part: ToProve, jig: Pick<Jig, 'reach'>): number {
  switch (part.kind) {
    case 'resistor':
      return Math.max(emptyFactor * part.ohm.nominal, emptyLeastOhm)
    case 'potentiometer':
      return Math.max(emptyFactor * part.ohm.nominal, emptyLeastOhm)
    case 'contact':
    case 'transformer':
      return emptyLeastOhm
    case 'capacitor': {
      const omega = 2 * Math.PI * nearestHz(capacitorConditions(part).frequencyHz, jig.reach)
      return belowStray(Math.max(30 / (omega * part.farad.nominal), emptyLeastOhm), omega)
    }
    case 'inductor': {
      const omega = 2 * Math.PI * part.frequencyHz
      return belowStray(Math.max(emptyFactor * omega * part.henry.nominal, emptyLeastOhm), omega)
    }
    case 'diode':
    case 'bridge-rectifier':
    case 'bipolar':
    case 'jfet':
    case 'mosfet':
    case 'depletion-mosfet':
      return junctionOpenOhm
  }
}

const belowStray = (ohm: number, omega: number): number => Math.min(ohm, 1 / (omega * leastSeenF))

/** One look by the instrument that will measure: nothing is switched between contact and measurement. */
export async function lookAt(jig: Jig, part: ToProve, clock: Clock): Promise<Look> {
  const look = (ohm: number, noiseOhm: number): Look => ({ atMs: clock.monotonicMs(), ohm, noiseOhm })
  switch (part.kind) {
    case 'resistor':
    case 'contact': {
      const read = await jig.resistance(ends, { mostOhm: 'any', wires: 2 })
      return look(read.quality === 'good' ? Math.abs(read.value) : Infinity, noiseOf(read))
    }
    case 'potentiometer': {
      const read = await firstThrough(jig, threePairs, 'any')
      return look(read.quality === 'good' ? Math.abs(read.value) : Infinity, noiseOf(read))
    }
    case 'transformer': {
      const read = await firstThrough(jig, sixPairs, mostWindingOhm)
      return look(read.quality === 'good' ? Math.abs(read.value) : Infinity, noiseOf(read))
    }
    case 'capacitor':
    case 'inductor': {
      const wanted =
        part.kind === 'capacitor' ? capacitorConditions(part) : { frequencyHz: part.frequencyHz, levelV: 1 }
      const { rOhm, xOhm } = await jig.impedance(ends, {
        ...wanted,
        frequencyHz: nearestHz(wanted.frequencyHz, jig.reach),
      })
      const good = rOhm.quality === 'good' && xOhm.quality === 'good'
      return look(
        good ? Math.hypot(rOhm.value, xOhm.value) : Infinity,
        Math.hypot(noiseOf(rOhm), noiseOf(xOhm)),
      )
    }
    case 'diode':
      return look(await conducting(jig, [ends, { high: 2, low: 1 }]), 0)
    case 'bipolar':
      return look(await conducting(jig, pairsOf(legs)), 0)
    case 'bridge-rectifier':
      return look(await conducting(jig, pairsOf(fourLegs)), 0)
    case 'jfet':
    case 'mosfet':
    case 'depletion-mosfet':
      return look(await conductingJoined(jig), 0)
  }
}

/** The first pair of legs with ohms between them, so that a part with a leg that is open is seen too. */
async function firstThrough(jig: Jig, pairs: readonly Pair[], mostOhm: number | 'any'): Promise<Measured> {
  let read: Measured | null = null
  for (const pair of pairs) {
    read = await jig.resistance(pair, { mostOhm, wires: 2 })
    if (read.quality === 'good') break
  }
  return read!
}
const threePairs: readonly Pair[] = [{ high: 1, low: 3 }, { high: 1, low: 2 }, { high: 2, low: 3 }]

/** Readings of one range differ by noise, a small share of what accuracy allows. */
const noiseOf = ({ u }: Measured): number => (Number.isFinite(u) ? u / 10 : 0)

const legs: readonly Terminal[] = [1, 2, 3]
const pairsOf = (among: readonly Terminal[]): Pair[] =>
  among.flatMap(high => among.filter(low => low !== high).map(low => ({ high, low })))

/** The best conducting pair, ohms; as soon as one conducts nothing else is asked. */
async function conducting(jig: Jig, pairs: readonly Pair[]): Promise<number> {
  for (const pair of pairs) {
    const { voltage, current, limited } = await jig.force(
      pair,
      { currentA: probing.currentA, limitV: probing.voltageV },
      pulseMs,
    )
    if (!limited && current.quality === 'good' && voltage.quality === 'good') {
      return Math.max(1e-3, Math.abs(voltage.value / current.value))
    }
  }
  return Infinity
}

/** The same of one leg against the two others: no gate hangs in the air meanwhile. */
async function conductingJoined(jig: Jig): Promise<number> {
  for (const leg of legs) {
    for (const sign of [1, -1] as const) {
      const { on, volts } = await lookJoined(jig, leg, sign)
      if (on) return Math.max(1e-3, volts / probing.currentA)
    }
  }
  return Infinity
}

const needs: Record<ToProve['kind'], readonly (keyof typeof reachNames)[]> = {
  resistor: ['ohms'], potentiometer: ['ohms'], contact: ['ohms'], capacitor: ['bridge'],
  inductor: ['bridge'], transformer: ['ohms', 'bridge'], diode: ['source'],
  'bridge-rectifier': ['source'],
  bipolar: ['source', 'secondSource'], jfet: ['source', 'secondSource'], mosfet: ['source', 'secondSource'],
  'depletion-mosfet': ['source', 'secondSource'],
}
const reachNames = { ohms: 'ohm meter', bridge: 'bridge', source: 'source', secondSource: 'second source' }

/**
 * The method of its kind. Rejects REFUSED where the jig does not reach what it needs. `told`: what a person
 * said of the part that lies in the jig; `guide`: how a person is told what to do while it is measured.
 */
export async function prove(
  jig: Jig, { part }: Item, told: Told = {}, guide: Guide = unguided,
): Promise<Proof> {
  const isCharged = part.kind === 'capacitor' && part.leakage !== null
  const lacks = [...needs[part.kind], ...isCharged ? ['source' as const] : []]
    .find(name => jig.reach[name] === null)
  if (lacks) throw new BenchError('REFUSED', `no ${reachNames[lacks]} reaches the jig`)
  switch (part.kind) {
    case 'resistor': return proveResistor(jig, ends, part)
    case 'potentiometer':
      return part.gangs ? proveGanged(jig, part, part.gangs, guide) : provePotentiometer(jig, part, guide)
    case 'contact': return proveContact(jig, ends, part)
    case 'capacitor': return proveCapacitor(jig, ends, part, told, guide)
    case 'inductor': return proveInductor(jig, ends, part)
    case 'transformer':
      return part.wound ? proveWound(jig, part, part.wound, guide) : proveTransformer(jig, part, guide)
    case 'diode': return proveDiode(jig, ends, part)
    case 'bridge-rectifier': return proveBridgeRectifier(jig, part)
    case 'bipolar': return proveBipolar(jig, part)
    case 'jfet': return proveJunctionFet(jig, part)
    case 'mosfet': return proveMosfet(jig, part)
    case 'depletion-mosfet': return proveDepletion(jig, part)
  }
}
