/** What is asked of the simulated parts: limits that sound ones meet and spoilt ones do not. */
import { usualRatings, type ComponentKind } from '../mocks/components/kinds.ts'
import { leakageMost } from '../src/screening/capacitor-limits.ts'
import type { Capacitor, Limit, ToProve, Value } from '../src/screening/to-prove.ts'

const source = 'the rating of the simulated part'
const valued = (kind: ComponentKind): Value => {
  const { value, tolerance } = usualRatings[kind]
  return { nominal: value, minus: tolerance, plus: tolerance, source }
}
const around = (kind: ComponentKind): Limit => {
  const { nominal, minus, plus } = valued(kind)
  return { low: nominal * (1 - minus), high: nominal * (1 + plus), source }
}
/** As a list asks; loss by the simulated rating. */
const capacitor = (kind: ComponentKind, dielectric: Capacitor['dielectric'], loss: number, isMains = false): Capacitor => {
  const [isPolar, ratedV] = [dielectric === 'electrolytic' || dielectric === 'tantalum', usualRatings[kind].volts!]
  return {
    kind: 'capacitor', dielectric, farad: valued(kind), dissipation: { high: loss, source }, isPolar,
    leakage: leakageMost({ dielectric, farad: usualRatings[kind].value, ratedV, isPolar, isMains }),
    ...isMains ? { mains: { classes: ['X2'], sits: null, voltageV: 240, frequencyHz: 50, bleeder: { ohm: { low: 0.9e6, high: 1.1e6, source } } } } : {},
  }
}
const silicon = [{ currentA: 1e-4, volt: { low: 0.35, high: 0.7, source } }, { currentA: 1e-2, volt: { low: 0.5, high: 1.05, source } }]
const bipolar = (kind: ComponentKind): ToProve => {
  const germanium = kind.endsWith('germanium')
  return {
    kind: 'bipolar', polarity: kind.slice(0, 3) as 'npn' | 'pnp', material: germanium ? 'germanium' : 'silicon',
    collectorA: 1e-3, collectorV: 5, gain: { low: usualRatings[kind].value * 0.4, source },
    leakageA: { high: germanium ? 1e-3 : 1e-6, source },
    baseV: germanium ? { low: 0.02, high: 0.45, source } : { low: 0.5, high: 0.8, source }, saturationV: null,
  }
}
const jfet = (kind: ComponentKind): ToProve => {
  const { nominal, minus, plus } = valued(kind)
  const pinchV = usualRatings[kind].volts!
  return {
    kind: 'jfet', channel: kind.slice(0, 1) as 'n' | 'p', drainV: 10,
    // The channel grows by up to 2 % a volt.
    idssA: { low: nominal * (1 - minus), high: nominal * (1 + plus) * 1.2, source },
    cutoffV: { low: 0.55 * pinchV, high: 1.45 * pinchV, source },
    gateLeak: { atV: 15, ampere: { high: 1e-8, source } },
  }
}
const mosfet = (kind: ComponentKind): ToProve => {
  const { low, high } = around(kind)
  return {
    kind: 'mosfet', channel: kind.slice(0, 1) as 'n' | 'p',
    // At 250 µA the gate stands up to 0.1 V above where the channel begins.
    threshold: { currentA: 250e-6, volt: { low: low!, high: high! + 0.15, source } },
    slope: { currentA: 0.01, siemens: { low: 0.03, source } },
    on: { gateV: 10, currentA: 0.05, ohm: { high: 7, source } },
    drainLeak: { atV: 20, ampere: { high: 1e-6, source } }, gateLeak: { atV: 10, ampere: { high: 1e-8, source } },
  }
}

const depletion = (kind: ComponentKind): ToProve => {
  const { low, high } = around(kind)
  return {
    kind: 'depletion-mosfet', channel: kind.slice(0, 1) as 'n' | 'p', drainV: 10, idssA: { low: 1e-3, source },
    // At 10 µA the gate stands up to 0.1 V short of where the channel ends.
    cutoff: { currentA: 1e-5, volt: { low: low! - 0.15, high: high!, source } },
    slope: { currentA: 1e-3, siemens: { low: 1.7e-3, source } },
    drainLeak: { gateV: 10, atV: 10, ampere: { high: 1e-6, source } }, gateLeak: { atV: 10, ampere: { high: 1e-8, source } },
  }
}

export const asked: Partial<Record<ComponentKind, ToProve>> = {
  resistor: { kind: 'resistor', ohm: valued('resistor'), ratedW: 0.25 },
  potentiometer: {
    kind: 'potentiometer', ohm: valued('potentiometer'), endOhm: { high: 100, source }, noiseOhm: { high: 100, source },
    half: { low: 0.4, source },
  },
  'ganged-potentiometer': {
    kind: 'potentiometer', ohm: valued('potentiometer'), endOhm: { high: 100, source }, noiseOhm: { high: 100, source },
    half: null, gangs: { count: 2, trackingDb: { high: 2.5, source } },
  },
  'film-capacitor': capacitor('film-capacitor', 'film', 0.01),
  'ceramic-capacitor': capacitor('ceramic-capacitor', 'ceramic-2', 0.05),
  'class-1-capacitor': capacitor('class-1-capacitor', 'ceramic-1', 0.004),
  'mica-capacitor': capacitor('mica-capacitor', 'mica', 0.003),
  'mains-capacitor': capacitor('mains-capacitor', 'film', 0.01, true),
  'paper-capacitor': capacitor('paper-capacitor', 'paper', 0.012),
  'electrolytic-capacitor': capacitor('electrolytic-capacitor', 'electrolytic', 0.3),
  'tantalum-capacitor': capacitor('tantalum-capacitor', 'tantalum', 0.08),
  inductor: { kind: 'inductor', henry: valued('inductor'), frequencyHz: 1e5, dcOhm: null, quality: null },
  diode: { kind: 'diode', forward: silicon, reverse: { voltageV: 20, ampere: { high: 1e-6, source } }, zener: null },
  transformer: {
    kind: 'transformer', recorded: null, ratio: { nominal: 10, low: 9.7, high: 10.3, source }, henry: around('transformer'),
    quality: { low: 1, source }, highOhm: { low: 20, high: 100, source }, lowOhm: null, leakageShare: { high: 0.05, source },
    between: { atV: 20, ampere: { high: 2e-7, source } },
  },
  'tapped-transformer': {
    kind: 'transformer', recorded: null, ratio: { nominal: 230 / 24, low: 9.3, high: 9.9, source }, henry: around('tapped-transformer'),
    quality: { low: 1, source }, highOhm: null, lowOhm: null, leakageShare: { high: 0.05, source },
    between: { atV: 20, ampere: { high: 2e-7, source } },
    wound: {
      windings: usualRatings['tapped-transformer'].windings!, below: 0.03, above: 0.03, source, halves: { low: 0.97, high: 1 / 0.97, source },
    },
  },
  'bridge-rectifier': {
    kind: 'bridge-rectifier', forward: { currentA: 0.01, volt: { low: 0.4, high: 1, source } },
    reverse: { voltageV: 20, ampere: { high: 1e-6, source } },
  },
  'selenium-rectifier': {
    kind: 'diode', seleniumPlates: 5, zener: null, reverse: { voltageV: 20, ampere: { high: 3e-4, source } },
    forward: [{ currentA: 1e-3, volt: { low: 1.5, high: 4, source } }, { currentA: 1e-2, volt: { low: 1.75, high: 5, source } }],
  },
  'selenium-bridge': {
    kind: 'bridge-rectifier', forward: { currentA: 1e-2, volt: { low: 0.7, high: 2, source } },
    reverse: { voltageV: 20, ampere: { high: 3e-4, source } },
    selenium: { plates: 2, first: { currentA: 1e-3, volt: { low: 0.6, high: 1.6, source } } },
  },
  zener: {
    kind: 'diode', forward: [silicon[1]!], reverse: { voltageV: 1, ampere: { high: 1e-6, source } },
    zener: { currentA: 5e-3, volt: around('zener'), slopeOhm: null },
  },
  led: {
    kind: 'diode', zener: null, forward: [{ currentA: 1e-3, volt: { low: 1.3, high: 2.6, source } }],
    reverse: { voltageV: 4, ampere: { high: 1e-6, source } },
  },
  npn: bipolar('npn'), pnp: bipolar('pnp'), 'npn-germanium': bipolar('npn-germanium'), 'pnp-germanium': bipolar('pnp-germanium'),
  'n-jfet': jfet('n-jfet'), 'p-jfet': jfet('p-jfet'), 'n-mosfet': mosfet('n-mosfet'), 'p-mosfet': mosfet('p-mosfet'),
  'n-depletion-mosfet': depletion('n-depletion-mosfet'), 'p-depletion-mosfet': depletion('p-depletion-mosfet'),
  contact: { kind: 'contact', ohm: { high: 0.1, source } },
}
export const kinds = Object.keys(asked) as ComponentKind[]
