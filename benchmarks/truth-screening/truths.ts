/**
 * What a criterion would have read with perfect instruments at its stated conditions: the physics of the part, asked
 * without anything of the program's methods. Null where the study has no truth for it.
 */
import type { Component } from '../../mocks/components/component.ts'
import { isBridge } from '../../mocks/components/kinds.ts'
import type { Criterion, PartResult } from '../../src/schema/run.ts'
import type { StudyPart } from './draw.ts'
import { asksOfKinds, ofRectifier, trackOhm } from './truths-kinds.ts'

type Ask = (component: Component, nth: number, figures: PartResult['figures']) => number | null

/** Forward currents in the order in which they are read, by kind. */
const forwardA: Readonly<Record<string, readonly number[]>> =
  { 'selenium-rectifier': [1e-3, 1e-2], diode: [1e-4, 1e-2], zener: [1e-2], led: [1e-3, 1e-2] }

const between = (component: Component, mode: 'current' | 'voltage', value: number): { volts: number; amps: number } =>
  component.dc([{ high: 0, low: 1, mode, value, limit: mode === 'current' ? 60 : 0.1 }]).drives[0]!

const reactance = (component: Component, { frequencyHz }: PartResult['figures']): { re: number; im: number; w: number } =>
  ({ ...component.impedance(frequencyHz!), w: 2 * Math.PI * frequencyHz! })

const ohms: Ask = component => between(component, 'current', 1e-6).volts / 1e-6

const collectorA = 1e-3
const collectorV = 5

/** Emitter, base and collector as they usually stand; volts and amperes without their sign. */
function transistor(component: Component, baseA: number): { collectorA: number; baseV: number } {
  const sign = component.truth.kind.startsWith('pnp') ? -1 : 1
  const [emitter, base, collector] = ['emitter', 'base', 'collector'].map(pin => component.terminal(pin)) as [number, number, number]
  const [main, control] = component.dc([
    { high: collector, low: emitter, mode: 'voltage', value: sign * collectorV, limit: 0.1 },
    { high: base, low: emitter, mode: 'current', value: sign * baseA, limit: 5 },
  ]).drives
  return { collectorA: Math.abs(main!.amps), baseV: Math.abs(control!.volts) }
}

/** The base current at which the collector takes what is stated, by halving on a logarithmic scale. */
function baseCurrentA(component: Component): number {
  let [low, high] = [1e-8, 1e-2]
  for (let i = 0; i < 60; i++) {
    const middle = Math.sqrt(low * high)
    if (transistor(component, middle).collectorA < collectorA) low = middle
    else high = middle
  }
  return high
}

const asks: Readonly<Partial<Record<Criterion['name'], Ask>>> = {
  ...asksOfKinds,
  resistance: (component, nth) => component.truth.kind.endsWith('potentiometer') ? trackOhm(component, nth) : ohms(component, 0, {}),
  // A contact is never twice the same: its middle is what it is.
  'contact resistance': component => component.truth.values['ohm']!,
  capacitance: (component, _, figures) => {
    const { im, w } = reactance(component, figures)
    return -1 / (w * im)
  },
  dissipation: (component, _, figures) => {
    const { re, im } = reactance(component, figures)
    return re / -im
  },
  inductance: (component, _, figures) => {
    const { im, w } = reactance(component, figures)
    return im / w
  },
  'reverse current': (component, nth) =>
    isBridge(component.truth.kind) ? ofRectifier.reverseA(component, nth) : null,
  'forward voltage': (component, nth) => {
    if (component.truth.kind === 'selenium-bridge') return ofRectifier.forwardV(component, nth >> 1, nth % 2 === 0 ? 1e-3 : 1e-2)
    if (component.truth.kind === 'bridge-rectifier') return ofRectifier.forwardV(component, nth)
    const current = forwardA[component.truth.kind]?.[nth]
    return current === undefined ? null : between(component, 'current', current).volts
  },
  'zener voltage': component => Math.abs(between(component, 'current', -5e-3).volts),
  gain: component => {
    const baseA = baseCurrentA(component)
    return (collectorA - transistor(component, 0).collectorA) / baseA
  },
  'base-emitter voltage': component => transistor(component, baseCurrentA(component)).baseV,
  'collector leakage': component => transistor(component, 0).collectorA,
}

/** Truth of each criterion, in order; only of sound parts that lie in the jig as they were asked for. */
export function truthsOf({ defect, component }: StudyPart, { criteria, figures }: PartResult): (number | null)[] {
  const seen = new Map<string, number>()
  return criteria.map(({ name }) => {
    const nth = seen.get(name) ?? 0
    seen.set(name, nth + 1)
    return defect === null ? asks[name]?.(component, nth, figures) ?? null : null
  })
}
