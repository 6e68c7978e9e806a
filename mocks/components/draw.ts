/** Draws the hidden values of a sound part from its rating. Ranges are ours (docs/simulated-bench.md). */
import type { SeededRandom } from '../../src/base/random.ts'
import type { ComponentKind, Rating } from './kinds.ts'

/** Hidden values by name, SI. */
export type Values = Readonly<Record<string, number>>

const logUniform = (random: SeededRandom, low: number, high: number): number =>
  low * (high / low) ** random.next()

/** Somewhere inside its tolerance, as makers sort: normal, cut off at the tolerance. */
function sorted({ value, tolerance }: Rating, random: SeededRandom): number {
  for (;;) {
    const share = random.normal() / 2.5
    if (Math.abs(share) < 0.97) return value * (1 + tolerance * share)
  }
}

type Draw = (rating: Rating, random: SeededRandom) => Values

const resistor: Draw = (rating, random) => ({
  ohm: sorted(rating, random), perK: random.uniform(-1e-4, 1e-4), perV: random.uniform(-2e-6, 0),
  kelvinPerW: random.uniform(150, 300),
})

const potentiometer: Draw = (rating, random) => ({
  ...resistor(rating, random), share: random.uniform(0.05, 0.95), wiperOhm: logUniform(random, 0.5, 10),
  endOhm: logUniform(random, 0.5, 20), wiperSpread: random.uniform(0.02, 0.1),
  midShare: random.uniform(0.46, 0.54), wornAt: random.uniform(0.1, 0.9), wornOhm: 0,
})

/** Two tracks of one rating; values of the second end with a 2. */
const ganged: Draw = (rating, random) => {
  const second = Object.entries(potentiometer(rating, random))
  return {
    ...potentiometer(rating, random),
    ...Object.fromEntries(second.map(([name, value]) => [`${name}2`, value])),
  }
}

const capacitor = (loss: [number, number], insulationS: number, absorption: [number, number]): Draw =>
  (rating, random) => {
    const farad = sorted(rating, random)
    return {
      farad, loss: logUniform(random, ...loss), absorption: logUniform(random, ...absorption),
      insulationOhm: Math.min(1e13, insulationS / farad) * random.uniform(0.5, 2),
      seriesOhm: logUniform(random, 0.01, 0.1), seriesH: random.uniform(5e-9, 20e-9),
    }
  }

/** Metallised film, with a bleeder of 5 %. */
const mainsCapacitor: Draw = (rating, random) => ({
  ...capacitor([0.001, 0.006], 10e3, [1e-4, 6e-4])(rating, random),
  bleederOhm: (rating.bleederOhm ?? 1e6) * random.uniform(0.95, 1.05),
})

/** Leakage at rated volts after a minute: 0.002 of C·V, and 1 µA. */
const electrolytic: Draw = (rating, random) => {
  const farad = sorted(rating, random)
  const volts = rating.volts ?? 25
  const leakA = (0.002 * farad * volts + 1e-6) * random.uniform(0.2, 1)
  return {
    farad, loss: random.uniform(0.02, 0.04), absorption: random.uniform(0.012, 0.035),
    insulationOhm: volts / leakA,
    seriesOhm: random.uniform(0.05, 0.12) / (2 * Math.PI * 120 * farad), seriesH: random.uniform(10e-9,
    30e-9),
    reverseA: 1e-3 * Math.exp(-10) * random.uniform(0.5, 2), reverseOhm: random.uniform(10, 30),
  }
}

/** Leakage at rated volts: 0.01 of C·V, 0.5 µA at least. */
const tantalum: Draw = (rating, random) => {
  const volts = rating.volts ?? 25
  const leakA = Math.max(0.01 * rating.value * volts, 0.5e-6) * random.uniform(0.1, 0.5)
  return {
    ...electrolytic(rating, random), loss: random.uniform(0.01, 0.03),
    absorption: random.uniform(0.003, 0.006), insulationOhm: volts / leakA,
    seriesOhm: random.uniform(0.005, 0.02) / (2 * Math.PI * 120 * rating.value),
  }
}

const inductor: Draw = (rating, random) => {
  const henry = sorted(rating, random)
  const selfHz = random.uniform(0.7, 1.5) * 1e6 * Math.sqrt(1e-3 / henry)
  return {
    henry, ohm: 3 * Math.sqrt(henry / 1e-3) * random.uniform(0.7, 1.4),
    farad: 1 / ((2 * Math.PI * selfHz) ** 2 * henry),
    lossOhm: 2 * Math.PI * selfHz * henry * random.uniform(5, 20),
  }
}

const transformer: Draw = (rating, random) => {
  const henry = sorted(rating, random)
  const ratio = (rating.ratio ?? 1) * random.uniform(0.99, 1.01)
  const ohm = 50 * henry * random.uniform(0.7, 1.4)
  return {
    henry, ratio, ohm, secondOhm: ohm / ratio ** 2 * random.uniform(0.8, 1.3),
    coupling: random.uniform(0.99, 0.998), lossOhm: 2 * Math.PI * 50 * henry * random.uniform(5, 20),
    insulationOhm: logUniform(random, 5e9, 1e11), farad: logUniform(random, 100e-12, 1e-9),
  }
}

/** Copper is shared out by what each coil carries, and strays by a fifth. */
const tappedTransformer: Draw = (rating, random) => {
  const henry = sorted(rating, random)
  const [first, ...others] = rating.windings!
  const ohm = 50 * henry * random.uniform(0.7, 1.4)
  const values: Record<string, number> = {
    henry, lossOhm: 2 * Math.PI * 50 * henry * random.uniform(5, 20),
    farad: logUniform(random, 100e-12, 1e-9), 'turns1.1': first![0]!, 'ohm1.1': ohm,
    'shared1.1': random.uniform(0.99, 0.998),
  }
  const coils = others.flat().length
  others.forEach((parts, w) => {
    values[`insulationOhm${w + 2}`] = logUniform(random, 5e9, 1e11)
    parts.forEach((turns, i) => {
      const name = `${w + 2}.${i + 1}`
      values[`turns${name}`] = turns * random.uniform(0.99, 1.01)
      values[`ohm${name}`] = ohm * (turns / first![0]!) ** 2 * coils * random.uniform(0.8, 1.3)
      values[`shared${name}`] = random.uniform(0.99, 0.998)
    })
  })
  return values
}

const diode: Draw = (rating, random) => ({
  saturationA: logUniform(random, 1e-9, 5e-9), ideality: random.uniform(1.7, 1.95),
  seriesOhm: random.uniform(0.4, 1.2),
  breakdownV: rating.value * random.uniform(1.2, 1.7), leakA: logUniform(random, 1e-9, 10e-9),
  farad: random.uniform(1e-12, 4e-12), gapV: 1.12,
})

/** Four junctions of one batch; `broken` is the number of one that is no more, 1 to 4. */
const bridgeRectifier: Draw = (rating, random) => ({
  saturationA: logUniform(random, 1e-9, 2e-8), ideality: random.uniform(1.7, 1.95),
  seriesOhm: random.uniform(0.02, 0.1), breakdownV: rating.value * random.uniform(1.2, 1.7),
  leakA1: logUniform(random, 1e-9, 5e-8), leakA2: logUniform(random, 1e-9, 5e-8),
  leakA3: logUniform(random, 1e-9, 5e-8), leakA4: logUniform(random, 1e-9, 5e-8),
  farad: random.uniform(10e-12, 40e-12), gapV: 1.12, broken: 0,
})

/** Plates alike in one stack: half a volt and more of each at 1 mA, and 2 to 6 Ω. */
const selenium: Draw = (rating, random) => {
  const plates = rating.plates ?? 1
  const ideality = random.uniform(2.5, 3.2)
  const leakA = (): number => logUniform(random, 1e-5, 1e-4)
  return {
    saturationA: 1e-3 * Math.exp(-random.uniform(0.5, 0.62) / (ideality * 0.025693)),
    ideality: plates * ideality, seriesOhm: plates * random.uniform(2, 6), gapV: 1.12,
    breakdownV: rating.value * random.uniform(1.2, 1.7), farad: random.uniform(1e-9, 10e-9) / plates,
    leakA: leakA(), leakA1: leakA(), leakA2: leakA(), leakA3: leakA(), leakA4: leakA(), broken: 0,
  }
}

const zener: Draw = (rating, random) => ({
  saturationA: logUniform(random, 1e-14, 1e-12), ideality: random.uniform(1, 1.1),
  seriesOhm: random.uniform(0.5, 2),
  zenerV: sorted(rating, random), kneeA: 5e-3,
  // Volts an e-fold: 60 ohm at 5 mA for a soft knee of low volts, 5 ohm for a hard one of about 7 V.
  kneeV: 5e-3 * (5 + 55 * Math.max(0, 1 - rating.value / 7)) * random.uniform(0.7, 1.3),
  leakA: logUniform(random, 1e-9, 100e-9), farad: random.uniform(50e-12, 200e-12), gapV: 1.12,
})

/** From the forward volts at 20 mA. */
const led: Draw = (rating, random) => {
  const ideality = random.uniform(1.8, 2.2)
  const seriesOhm = random.uniform(2, 8)
  const inner = sorted(rating, random) - 20e-3 * seriesOhm
  return {
    saturationA: 20e-3 * Math.exp(-inner / (ideality * 0.025693)), ideality, seriesOhm, gapV: 1.9,
    breakdownV: random.uniform(8, 30), leakA: logUniform(random, 1e-10, 1e-8),
    farad: random.uniform(20e-12, 80e-12),
  }
}

const bipolar = (isGermanium: boolean): Draw => (rating, random) => ({
  saturationA: isGermanium ? logUniform(random, 1e-6, 5e-6) : logUniform(random, 5e-15, 8e-14),
  ideality: random.uniform(1, 1.03), gapV: isGermanium ? 0.67 : 1.12,
  gain: sorted(rating, random), reverseGain: random.uniform(2, 8), earlyV: random.uniform(50, 150),
  leakA: isGermanium ? logUniform(random, 2e-7, 1e-6) : logUniform(random, 1e-11, 1e-9),
  emitterBreakdownV: isGermanium ? random.uniform(10, 30) : random.uniform(6, 9),
  collectorBreakdownV: (rating.volts ?? 45) * random.uniform(1.3, 2),
  baseOhm: random.uniform(20, 200), collectorOhm: random.uniform(0.5, 3), farad: random.uniform(3e-12,
  15e-12),
})

const jfet: Draw = (rating, random) => ({
  saturatedA: sorted(rating, random), pinchV: (rating.volts ?? 3) * random.uniform(0.6, 1.4),
  perV: random.uniform(0.005, 0.02), leakA: logUniform(random, 1e-12, 1e-10), gateA: logUniform(random,
  1e-15, 1e-14),
  breakdownV: random.uniform(28, 50), farad: random.uniform(2e-12, 8e-12),
  gateSeriesOhm: random.uniform(20, 60),
})

/** Of a sound insulated-gate transistor, A/V². */
export const leastAmpsPerV2 = 0.03

const mosfet: Draw = (rating, random) => ({
  thresholdV: sorted(rating, random), ampsPerV2: logUniform(random, leastAmpsPerV2, 0.3),
  perV: random.uniform(0.002, 0.02),
  bodyA: logUniform(random, 1e-13, 1e-11), leakA: logUniform(random, 1e-10, 1e-8),
  breakdownV: (rating.volts ?? 60) * random.uniform(1.1, 1.3), gateOhm: logUniform(random, 1e11, 1e13),
  onOhm: random.uniform(0.5, 3), farad: random.uniform(20e-12, 100e-12),
})

/** Of a sound one that conducts without gate volts, A/V². */
export const leastDepletionAmpsPerV2 = 1e-3

/** The same with its threshold on the other side of no volts, and a channel of few milliamperes. */
const depletion: Draw = (rating, random) => ({
  ...mosfet(rating, random), thresholdV: -sorted(rating, random),
  ampsPerV2: logUniform(random, leastDepletionAmpsPerV2, 5e-3),
})

const contact: Draw = (rating, random) =>
  ({ ohm: rating.value * random.uniform(0.3, 1), spread: random.uniform(0.02, 0.1) })

export const draws: Readonly<Record<ComponentKind, Draw>> = {
  resistor, potentiometer, 'ganged-potentiometer': ganged, inductor, transformer, diode, zener, led, contact,
  'selenium-rectifier': selenium, 'selenium-bridge': selenium,
  'bridge-rectifier': bridgeRectifier, 'tapped-transformer': tappedTransformer,
  'film-capacitor': capacitor([0.001, 0.006], 10e3, [1e-4, 6e-4]),
  'ceramic-capacitor': capacitor([0.008, 0.02], 1000, [1e-3, 6e-3]),
  'class-1-capacitor': capacitor([1e-4, 8e-4], 1e3, [1e-4, 1e-3]),
  'mica-capacitor': capacitor([2e-4, 1e-3], 1e3, [1e-4, 1e-3]),
  'mains-capacitor': mainsCapacitor, 'electrolytic-capacitor': electrolytic,
  'paper-capacitor': capacitor([0.003, 0.008], 3e3, [3e-3, 1e-2]), 'tantalum-capacitor': tantalum,
  npn: bipolar(false), pnp: bipolar(false), 'npn-germanium': bipolar(true), 'pnp-germanium': bipolar(true),
  'n-jfet': jfet, 'p-jfet': jfet, 'n-mosfet': mosfet, 'p-mosfet': mosfet,
  'n-depletion-mosfet': depletion, 'p-depletion-mosfet': depletion,
}
