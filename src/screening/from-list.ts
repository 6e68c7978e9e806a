/**
 * What is to be proven of each part of a list. What the list says decides; where it says nothing and the
 * trade has a usual limit, that limit is taken and named as such; where neither does, the part is not
 * proven and the list says why. Nothing is guessed. Pure; SI units.
 */
import { formatSi } from '../base/format.ts'
import { aKind, idsOf, type PartsLine } from '../schema/parts-list.ts'
import {
  capacitorOf,
  dielectricOf,
  noDielectric,
  usualWishes,
  type CapacitorWishes,
} from './from-list-capacitor.ts'
import { bridgeRectifier, potentiometer } from './from-list-kinds.ts'
import { transformer } from './from-list-transformer.ts'
import { depletionFet, junctionFet, mosfet } from './from-list-field.ts'
import { seleniumBridge, seleniumRectifier } from './from-list-selenium.ts'
import { statedLimit, statedOf, unbearable } from './from-list-stated.ts'
import type { Item } from './grade.ts'
import type { Unproven } from './plan.ts'
import type { Bipolar, Diode, Limit, ToProve, Value } from './to-prove.ts'

export interface Listed {
  readonly items: readonly Item[]
  readonly cannot: readonly Unproven[]
}

/**
 * Every part by itself: `C1`, or the third of a reel in line 7 as `line 7 #3`. `wishes`: what is wanted of
 * capacitors.
 */
export function itemsOf(lines: readonly PartsLine[], wishes: CapacitorWishes = usualWishes): Listed {
  const items: Item[] = []
  const cannot: Unproven[] = []
  for (const line of lines) {
    const part = toProve(line, wishes)
    for (const id of idsOf(line)) {
      if ('why' in part) cannot.push({ id, ...part })
      else items.push({ id, part })
    }
  }
  return { items, cannot }
}

type Lack = Omit<Unproven, 'id'>

function toProve(line: PartsLine, wishes: CapacitorWishes): ToProve | Lack {
  switch (line.kind) {
    case 'resistor':
      return withValue(line, 'resistance', ohm => ({ kind: 'resistor', ohm, ratedW: line.ratedW ?? 0.125 }))
    case 'potentiometer':
      return withValue(line, 'resistance', ohm => potentiometer(line, ohm))
    case 'inductor':
      return withValue(line, 'inductance', henry => ({
        kind: 'inductor',
        henry,
        frequencyHz: 1000,
        dcOhm: null,
        quality: null,
      }))
    case 'capacitor':
      return dielectricOf(line) === null
        ? noDielectric
        : withValue(line, 'capacitance', farad => capacitorOf(line, farad, wishes))
    case 'switch':
    case 'relay-contact':
    case 'fuse':
      return { kind: 'contact', ohm: usual[line.kind] }
    case 'diode':
      return diode(line)
    case 'led':
      return led
    case 'transformer':
      return transformer(line, wishes.mains.frequencyHz)
    case 'bridge-rectifier':
      return line.material === 'selenium' ? seleniumBridge(line) : bridgeRectifier(line)
    case 'zener':
      return zener(line)
    case 'npn':
    case 'pnp':
      return bipolar(line, line.kind)
    case 'jfet-n':
    case 'jfet-p':
      return junctionFet(line, line.kind === 'jfet-n' ? 'n' : 'p')
    case 'mosfet-n':
    case 'mosfet-p':
      return mosfet(line, line.kind === 'mosfet-n' ? 'n' : 'p')
    case 'mosfet-n-depletion':
    case 'mosfet-p-depletion':
      return depletionFet(line, line.kind === 'mosfet-n-depletion' ? 'n' : 'p')
    case null:
      return { why: 'the list does not say what it is', wayOut: 'add a kind to its line' }
    default:
      return { why: `there is no method for ${aKind(line.kind)}`, wayOut: 'prove it by hand and note it' }
  }
}

function withValue(
  line: PartsLine,
  quantity: string,
  make: (value: Value) => ToProve | Lack,
): ToProve | Lack {
  const { value, toleranceMinus: minus, tolerancePlus: plus } = line
  if (value === null || value.quantity !== quantity || !(value.si > 0)) {
    return { why: `the list gives no ${quantity}`, wayOut: 'add its value' }
  }
  if (minus === null || plus === null)
    return { why: 'the list gives no tolerance', wayOut: 'add its tolerance' }
  return make({ nominal: value.si, minus, plus, source: 'tolerance of the parts list' })
}

const usual = {
  switch: { high: 0.05, source: 'switch contact, common practice' },
  'relay-contact': { high: 0.1, source: 'relay contact, common practice' },
  fuse: { high: 10, source: 'fuse, common practice: its own data say less' },
} as const

/** Forward volts of small-signal parts at room temperature: common practice. */
const forwardOf = {
  silicon: [
    {
      currentA: 1e-4,
      volt: { low: 0.35, high: 0.65, source: 'silicon junction at 0.1 mA, common practice' },
    },
    { currentA: 1e-2, volt: { low: 0.55, high: 1, source: 'silicon junction at 10 mA, common practice' } },
  ],
  germanium: [
    {
      currentA: 1e-4,
      volt: { low: 0.05, high: 0.3, source: 'germanium junction at 0.1 mA, common practice' },
    },
    { currentA: 5e-3, volt: { low: 0.15, high: 1, source: 'germanium junction at 5 mA, common practice' } },
  ],
} as const

/** Reverse current is read at the rating, and never above this. */
const reverseMostV = 20

function diode(line: PartsLine): Diode | Lack {
  const { material, ratedV } = line
  if (material === 'selenium') return seleniumRectifier(line)
  const most = material === 'germanium' ? 1e-4 : 1e-6
  return {
    kind: 'diode',
    forward: forwardOf[material ?? 'silicon'],
    zener: null,
    reverse: {
      voltageV: Math.min(ratedV ?? reverseMostV, reverseMostV),
      ampere: { high: most, source: `reverse current of a ${material ?? 'silicon'} diode, common practice` },
    },
  }
}

const led: Diode = {
  kind: 'diode',
  reverse: {
    voltageV: 4,
    ampere: { high: 1e-5, source: 'reverse current of a light-emitting diode, common practice' },
  },
  zener: null,
  forward: [
    {
      currentA: 1e-3,
      volt: { low: 1.2, high: 3.5, source: 'light-emitting diode at 1 mA, common practice' },
    },
    {
      currentA: 1e-2,
      volt: { low: 1.3, high: 4, source: 'light-emitting diode at 10 mA, common practice' },
    },
  ],
}

/** Share of the zener voltage at which even a soft one of few volts hardly conducts (common practice). */
const belowKnee = 0.4
/** Below it they conduct by tunnelling, from next to nothing on (common practice). */
const softBelowV = 4.5

function zener({ ratedV, toleranceMinus: minus, tolerancePlus: plus }: PartsLine): Diode | Lack {
  if (ratedV === null) return { why: 'the list gives no zener voltage', wayOut: 'add it as the rating' }
  if (minus === null || plus === null)
    return { why: 'the list gives no tolerance', wayOut: 'add its tolerance' }
  return {
    kind: 'diode',
    forward: [forwardOf.silicon[1]],
    reverse: {
      voltageV: Math.min(belowKnee * ratedV, reverseMostV),
      ampere: {
        high: ratedV < softBelowV ? 1e-4 : 1e-5, source: 'zener well below its knee, common practice',
      },
    },
    zener: {
      currentA: 5e-3,
      slopeOhm: null,
      volt: { low: ratedV * (1 - minus), high: ratedV * (1 + plus), source: 'tolerance of the parts list' },
    },
  }
}

/** A decade of collector current moves the base by 60 mV, or 120 mV at high injection (common practice). */
const baseVPerDecade = 0.12
const [usualA, usualV] = [1e-3, 5]

function bipolar(line: PartsLine, polarity: 'npn' | 'pnp'): Bipolar | Lack {
  const germanium = line.material === 'germanium'
  const stated = statedOf(line, 'gain')
  const { currentA: collectorA = usualA, voltageV: collectorV = usualV } = stated ?? {}
  const lack = stated ? unbearable(line, collectorV, collectorA) : null
  if (lack) return lack
  const moreV = baseVPerDecade * Math.log10(collectorA / usualA)
  const baseOf = (low: number, high: number, material: string): Limit => ({
    low: low + Math.min(0, moreV), high: high + Math.max(0, moreV), source: `${material}, common practice`,
  })
  return {
    kind: 'bipolar',
    polarity,
    material: germanium ? 'germanium' : 'silicon',
    collectorA,
    collectorV,
    gain: statedLimit(
      stated, { low: 20, source: 'no gain in the list: at least 20, common practice' },
      `at ${formatSi(collectorA, 'A')} and ${formatSi(collectorV, 'V')}`),
    leakageA: germanium
      ? { high: 5e-4, source: 'germanium, collector leakage with the base open, common practice' }
      : { high: 1e-6, source: 'silicon, collector leakage with the base open, common practice' },
    baseV: germanium ? baseOf(0.05, 0.4, 'germanium') : baseOf(0.5, 0.75, 'silicon'),
    saturationV: null,
  }
}
