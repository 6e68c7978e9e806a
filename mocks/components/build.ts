/** From hidden values to the network of a part. */
import { Capacitor } from './capacitor.ts'
import { Channel } from './channel.ts'
import type { Element } from './element.ts'
import type { Values } from './draw.ts'
import { Breakdown, Junction, Leakage, Transport, type JunctionTruth } from './junction.ts'
import type { ComponentKind } from './kinds.ts'
import type { NetworkBuilder } from './network.ts'
import { Coil, Fluctuating, Resistor, Windings } from './passive.ts'
import { Shaft, Track, Wiper } from './track.ts'
import { CoilSet, coilsOf, windingsOf } from './windings.ts'

/** Terminal by what stands there. */
type At = (pin: string) => number
type Value = (name: string) => number
type Build = (b: NetworkBuilder, at: At, v: Value, pins: readonly string[]) => void

/** Puts the elements of a part of `kind` between the nodes to which its pins lead. */
export function buildPart(
  kind: ComponentKind, values: Values, nodeOf: ReadonlyMap<string, number>, b: NetworkBuilder,
): void {
  const value = (name: string): number => {
    const found = values[name]
    if (found === undefined) throw new Error(`a ${kind} has no ${name}`)
    return found
  }
  builds[kind](b, pin => nodeOf.get(pin)!, value, [...nodeOf.keys()])
  const { breakdownV } = values
  if (kind.endsWith('capacitor') && breakdownV !== undefined) givesWay([...nodeOf.values()], breakdownV, b)
}

/** Insulation that is sound below some volts, whichever way round; above them it lets through what comes. */
function givesWay([one, other]: readonly number[], volts: number, b: NetworkBuilder): void {
  b.add(new Breakdown(one!, other!, volts, 1e-6, 2), new Breakdown(other!, one!, volts, 1e-6, 2))
}

const resistor: Build = (b, at, v) => {
  b.add(new Resistor(at('end'), at('other end'),
    { ohm: v('ohm'), perK: v('perK'), perV: v('perV'), kelvinPerW: v('kelvinPerW') }))
}

const potentiometer: Build = (b, at, v) => trackOn(new Shaft(v('share')), b, at, v)

const ganged: Build = (b, at, v) => {
  const shaft = new Shaft(v('share'))
  trackOn(shaft, b, pin => at(`gang 1 ${pin}`), v)
  trackOn(shaft, b, pin => at(`gang 2 ${pin}`), name => v(`${name}2`))
}

function trackOn(shaft: Shaft, b: NetworkBuilder, at: At, v: Value): void {
  const [low, high, tap] = [b.inside(), b.inside(), b.inside()]
  const track = (from: number, to: number, isFar: boolean): Track => new Track(from, to,
    { ohm: v('ohm'), perK: v('perK'), perV: v('perV') }, { shaft, midShare: v('midShare'), isFar })
  b.add(new Resistor(at('end'), low, { ohm: v('endOhm') }), track(low, tap, false), track(tap, high, true),
    new Resistor(high, at('other end'), { ohm: v('endOhm') }),
    new Wiper(tap, at('wiper'), { ohm: v('wiperOhm'), spread: v('wiperSpread') }, shaft,
      { at: v('wornAt'), ohm: v('wornOhm') }))
}

const capacitorBetween = (b: NetworkBuilder, one: number, other: number, v: Value): void => {
  b.add(new Capacitor(one, other, {
    farad: v('farad'), loss: v('loss'), insulationOhm: v('insulationOhm'), absorption: v('absorption'),
    seriesOhm: v('seriesOhm'), seriesH: v('seriesH'),
  }))
}

const capacitor: Build = (b, at, v) => capacitorBetween(b, at('end'), at('other end'), v)

/** Across the mains, with the resistor that empties it once the plug is out. */
const mainsCapacitor: Build = (b, at, v) => {
  capacitorBetween(b, at('end'), at('other end'), v)
  b.add(new Resistor(at('end'), at('other end'), { ohm: v('bleederOhm') }))
}

/** The wrong way round the other foil conducts: an e-fold every 0.15 V, as in the parts of the main job. */
const electrolytic: Build = (b, at, v) => {
  capacitorBetween(b, at('plus'), at('minus'), v)
  const inner = b.inside()
  b.add(new Resistor(at('minus'), inner, { ohm: v('reverseOhm') }),
    new Junction(inner, at('plus'), { saturationA: v('reverseA'), ideality: 5.84, gapV: 1.12 }))
}

const inductor: Build = (b, at, v) => {
  b.add(new Coil(at('end'), at('other end'),
    { henry: v('henry'), ohm: v('ohm'), farad: v('farad'), lossOhm: v('lossOhm') }))
}

const transformer: Build = (b, at, v) => {
  const ends = [at('primary'), at('primary end'), at('secondary'), at('secondary end')] as const
  b.add(new Windings(ends, {
    henry: [v('henry'), v('henry') / v('ratio') ** 2], ohm: [v('ohm'), v('secondOhm')],
    coupling: v('coupling'), lossOhm: v('lossOhm'),
  }), new Capacitor(at('primary end'), at('secondary end'),
    { farad: v('farad'), loss: 0.02, insulationOhm: v('insulationOhm'), absorption: 0 }))
}

const tappedTransformer: Build = (b, at, v, pins) => {
  const perTurn = v('henry') / v('turns1.1') ** 2
  b.add(new CoilSet(coilsOf(pins).map(({ name, from, to }) => ({
    from: at(from), to: at(to), henry: perTurn * v(`turns${name}`) ** 2, ohm: v(`ohm${name}`),
    shared: v(`shared${name}`),
  })), v('lossOhm')))
  windingsOf(pins).slice(1).forEach((points, w) => {
    b.add(new Capacitor(at('winding 1 end'), at(points.at(-1)!),
      { farad: v('farad'), loss: 0.02, insulationOhm: v(`insulationOhm${w + 2}`), absorption: 0 }))
  })
}

const junctionOf = (v: Value): JunctionTruth =>
  ({ saturationA: v('saturationA'), ideality: v('ideality'), gapV: v('gapV'), farad: v('farad') })

/** What a junction lets through in reverse, amperes at 20 V. */
type Leak = (from: number, to: number, amps: number) => Element
const saturating: Leak = (from, to, amps) => new Leakage(from, to, amps)
/** Selenium leaks as a resistor does. */
const ohmic: Leak = (from, to, amps) => new Resistor(from, to, { ohm: 20 / amps })

const diodeOf = (leak: Leak): Build => (b, at, v) => {
  const inner = b.inside()
  b.add(new Resistor(at('anode'), inner, { ohm: v('seriesOhm') }),
    new Junction(inner, at('cathode'), junctionOf(v)),
    leak(at('cathode'), inner, v('leakA')),
    new Breakdown(at('cathode'), inner, v('breakdownV'), 1e-5, 0.05))
}
const diode = diodeOf(saturating)

/** From which pin to which each junction of a bridge conducts, in the order of their numbers. */
const bridged = [['ac', 'plus'], ['other ac', 'plus'], ['minus', 'ac'], ['minus', 'other ac']] as const

const bridgeOf = (leak: Leak): Build => (b, at, v) => {
  for (const [i, [from, to]] of bridged.entries()) {
    if (v('broken') === i + 1) continue
    const inner = b.inside()
    b.add(new Resistor(at(from), inner, { ohm: v('seriesOhm') }), new Junction(inner, at(to), junctionOf(v)),
      leak(at(to), inner, v(`leakA${i + 1}`)),
      new Breakdown(at(to), inner, v('breakdownV'), 1e-5, 0.05))
  }
}

const zener: Build = (b, at, v) => {
  const inner = b.inside()
  b.add(new Resistor(at('anode'), inner, { ohm: v('seriesOhm') }),
    new Junction(inner, at('cathode'), junctionOf(v)),
    new Leakage(at('cathode'), inner, v('leakA')),
    new Breakdown(at('cathode'), inner, v('zenerV') - v('kneeA') * v('seriesOhm'), v('kneeA'), v('kneeV')))
}

const bipolar = (polarity: 'npn' | 'pnp'): Build => (b, at, v) => {
  const [base, collector, emitter] = [b.inside(), b.inside(), at('emitter')]
  const whole = junctionOf(v)
  /** Nodes in the direction in which a junction of this polarity conducts. */
  const along = (p: number, n: number): [number, number] => polarity === 'npn' ? [p, n] : [n, p]
  const junction = (other: number, gain: number): Junction =>
    new Junction(...along(base, other), { ...whole, saturationA: whole.saturationA / gain })
  const breakdown = (other: number, volts: number): Breakdown =>
    new Breakdown(...along(other, base), volts, 1e-5, 0.03)
  b.add(new Resistor(at('base'), base, { ohm: v('baseOhm') }),
    new Resistor(at('collector'), collector, { ohm: v('collectorOhm') }),
    junction(emitter, v('gain')), junction(collector, v('reverseGain')),
    new Transport(base, collector, emitter, { ...whole, earlyV: v('earlyV') }, polarity),
    new Leakage(...along(collector, base), v('leakA')),
    breakdown(emitter, v('emitterBreakdownV')), breakdown(collector, v('collectorBreakdownV')))
}

const jfet = (polarity: 'n' | 'p'): Build => (b, at, v) => {
  const along = (p: number, n: number): [number, number] => polarity === 'n' ? [p, n] : [n, p]
  const gate = { saturationA: v('gateA'), ideality: 1, gapV: 1.12, farad: v('farad') }
  const inner = b.inside()
  b.add(new Resistor(at('gate'), inner, { ohm: v('gateSeriesOhm') }),
    new Channel(inner, at('drain'), at('source'), {
      thresholdV: -v('pinchV'), ampsPerV2: v('saturatedA') / v('pinchV') ** 2, perV: v('perV'),
    }, polarity))
  for (const end of [at('source'), at('drain')]) {
    b.add(new Junction(...along(inner, end), gate), new Leakage(...along(end, inner), v('leakA') / 2),
      new Breakdown(...along(end, inner), v('breakdownV'), 1e-5, 0.05))
  }
}

const mosfet = (polarity: 'n' | 'p'): Build => (b, at, v) => {
  const along = (p: number, n: number): [number, number] => polarity === 'n' ? [p, n] : [n, p]
  const drain = b.inside()
  const insulation = { loss: 0, insulationOhm: v('gateOhm'), absorption: 0 }
  const body = { saturationA: v('bodyA'), ideality: 1.1, gapV: 1.12, farad: v('farad') }
  b.add(new Resistor(at('drain'), drain, { ohm: v('onOhm') }), new Channel(at('gate'), drain, at('source'),
    { thresholdV: v('thresholdV'), ampsPerV2: v('ampsPerV2'), perV: v('perV') }, polarity),
  new Junction(...along(at('source'), drain), body), new Leakage(...along(drain, at('source')), v('leakA')),
  new Breakdown(...along(drain, at('source')), v('breakdownV'), 1e-5, 0.05),
  new Capacitor(at('gate'), at('source'), { ...insulation, farad: v('farad') }),
  new Capacitor(at('gate'), drain, { ...insulation, farad: v('farad') / 4 }))
}

const contact: Build = (b, at, v) => {
  b.add(new Fluctuating(at('end'), at('other end'), v('ohm'), v('spread')))
}

const builds: Readonly<Record<ComponentKind, Build>> = {
  resistor, potentiometer, inductor, transformer, diode, zener, led: diode, contact,
  'ganged-potentiometer': ganged,
  'selenium-rectifier': diodeOf(ohmic), 'selenium-bridge': bridgeOf(ohmic),
  'bridge-rectifier': bridgeOf(saturating), 'tapped-transformer': tappedTransformer,
  'film-capacitor': capacitor, 'ceramic-capacitor': capacitor, 'mica-capacitor': capacitor,
  'class-1-capacitor': capacitor, 'mains-capacitor': mainsCapacitor,
  'paper-capacitor': capacitor, 'electrolytic-capacitor': electrolytic, 'tantalum-capacitor': electrolytic,
  npn: bipolar('npn'), pnp: bipolar('pnp'),
  'npn-germanium': bipolar('npn'), 'pnp-germanium': bipolar('pnp'), 'n-jfet': jfet('n'), 'p-jfet': jfet('p'),
  'n-mosfet': mosfet('n'), 'p-mosfet': mosfet('p'),
  'n-depletion-mosfet': mosfet('n'), 'p-depletion-mosfet': mosfet('p'),
}
