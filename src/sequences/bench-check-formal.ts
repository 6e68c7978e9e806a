/**
 * The relay of the low resistor, on a standing bus: without it a part charges through the limiting resistor,
 * and with it in a small part of that time.
 */
import { connect, formalResistor, moveBus, nextOf, release } from '../engine/bus.ts'
import { changedOver } from '../engine/bleed.ts'
import { followDischarge } from '../engine/discharge.ts'
import type { Night } from '../engine/night.ts'
import type { PositionState } from '../engine/position.ts'
import { seriesOhm } from '../engine/position.ts'
import { ownVolts } from '../engine/standing.ts'
import { leftV } from './bench-check-discharge.ts'
import type { Bleeder } from './bench-check-discharge.ts'
import { slewOf } from './bench-check-held.ts'
import { judge, less } from './bench-check-judge.ts'
import type { Check, Seen } from './bench-check-judge.ts'
import { formalAtShare, formalMostS } from './bench-check-plan.ts'
import type { Round, Span } from './bench-check-round.ts'
import {
  busNow, followCurrent, hurry, mean, note, readEveryMs, soundParts, timed,
} from './bench-check-round.ts'

/**
 * The bus stands a little lower than before: the watch for flash-overs compares readings at one set-point,
 * and a part that comes back empty would look like one.
 */
const standingShare = 0.95
/** Before it is connected a part is empty to this share. */
const emptyShare = 0.05
/** The charging current may be off by this share: absorption adds to what was measured (modelling choice). */
const chargingShare = 0.5
/**
 * Later than that the curve has come so far down that absorption, and a time constant a little off, decide
 * what is left of it (modelling choice).
 */
const tellingConstants = 1.5
/** Charged through the low resistor: this share of the bus at least (modelling choice). */
const chargedShare = 0.9
/** Without it a part must stay below this share in the same time, or nothing is shown. */
const unchargedShare = 0.8

export async function checkFormal(round: Round): Promise<void> {
  const { night, p } = round
  const parts = soundParts(round).filter(position => round.bleeders.has(position))
  const hasResistor = night.bench.fixture.formalOhm !== undefined
  const fitted = parts.filter(({ spec }) => hasResistor && spec.formalRelay !== undefined)
  if (fitted.length === 0) {
    round.unshown.push('formal relays: no test part sits where there is one')
    return
  }
  await moveBus(night, standingShare * p.voltageV, slewOf(night, p.voltageV))
  for (const position of fitted) {
    if (position.stage !== 'dropped') await checkPart(round, position, round.bleeders.get(position)!)
  }
}

async function checkPart(round: Round, position: PositionState, bleeder: Bleeder): Promise<void> {
  const { night } = round
  const { fixture } = night.bench
  const farad = bleeder.tauS / bleeder.ohm
  const limitOhm = seriesOhm(fixture, { wiring: 'bus', formal: false }, false)
  const tauMs = 1000 * farad * limitOhm
  if (unchargedAfter(formalMs(round, farad) / tauMs) > unchargedShare) {
    round.unshown.push(`${position.spec.name}: formal relay: it charges hardly faster than without it`)
    return
  }
  await emptied(round, position, bleeder)
  const limitId = `${position.spec.name}.current`
  hurry(night, 3 * tauMs + 10_000)
  const end = night.supervisor.allow(limitId, night.clock.monotonicMs() + 3 * tauMs + 10_000)
  const joined = await timed(night, () => connect(night, [position]))
  const slow = await checkOpen(round, position, { joined, tauMs, limitOhm })
  const isHalf = slow && await charges(round, position, limitOhm, 3 * tauMs)
  end()
  const { atMs, stoodV } = isHalf ? await checkCloses(round, position, bleeder) : await leave(night, position)
  // What it took here must be seen to leave too.
  night.sampler.hurry(4000 * bleeder.tauS, 1000)
  await followDischarge(night, position, stoodV, atMs)
}

interface Left { atMs: number; stoodV: number | null }

async function leave(night: Night, position: PositionState): Promise<Left> {
  const stoodV = ownVolts(night, position)
  await release(night, [position])
  return { atMs: night.clock.monotonicMs(), stoodV }
}

interface Charging { joined: Span; tauMs: number; limitOhm: number }

/** What is read soon after the connection is on the curve of the limiting resistor. */
async function checkOpen(
  round: Round, position: PositionState, { joined, tauMs, limitOhm }: Charging,
): Promise<boolean> {
  const { night, zero } = round
  const bus = await busNow(night)
  await changedOver(night)
  const first = await mean(night, position, 1)
  const atMs = (joined.fromMs + joined.byMs) / 2
  const readings = [first, await mean(night, position, 1)].map(seen => less(seen, zero.get(position)!))
    .filter(seen => seen.atMs - atMs <= tellingConstants * tauMs)
  if (readings.length === 0) {
    round.unshown.push(`${position.spec.name}: formal relay: it was read too late to see how it charges`)
    return false
  }
  return note(round, slowCheck(position, readings, t => bus.value / limitOhm * Math.exp(-(t - atMs) / tauMs)),
    'it charges at once: the formal relay does not open (welded)')
}

/** The reading that is furthest from the curve decides. */
export function slowCheck(
  position: PositionState, readings: readonly Seen[], expectedA: (atMs: number) => number,
): Check {
  const off = ({ value, atMs }: Seen): number => Math.abs(value / expectedA(atMs) - 1)
  const worst = [...readings].sort((a, b) => off(b) - off(a))[0]!
  const a = expectedA(worst.atMs)
  return {
    position, what: 'formal relay open',
    criterion: judge('contact', worst, 'A', { low: a * (1 - chargingShare), high: a * (1 + chargingShare) },
      `${(1e6 * a).toPrecision(3)} µA through the limiting resistor, ± ${100 * chargingShare} %`),
  }
}

/** Waits until the part has come so far that the low resistor may meet it. */
async function charges(
  { night, p, zero }: Round, position: PositionState, limitOhm: number, mostMs: number,
): Promise<boolean> {
  const untilMs = night.clock.monotonicMs() + mostMs
  const fullA = standingShare * p.voltageV / limitOhm
  while (night.clock.monotonicMs() < untilMs) {
    const reading = await nextOf(night, position, night.clock.monotonicMs())
    if (reading === null) return false
    if (reading.value - zero.get(position)!.value < (1 - formalAtShare) * fullA) return true
  }
  return false
}

/** In and out again, then off the bus at once: what comes back tells how far the part was charged. */
async function checkCloses(round: Round, position: PositionState, bleeder: Bleeder): Promise<Left> {
  const { night } = round
  await formalResistor(night, position, true)
  await formalResistor(night, position, false)
  const bus = await busNow(night)
  const { fromMs, byMs } = await timed(night, () => release(night, [position]))
  await changedOver(night)
  const seen = (await followCurrent(round, position, 0))[0]
  const left = { atMs: byMs, stoodV: bus.value }
  if (seen === undefined) return left
  note(round, chargedCheck(position, { ...bleeder, startMs: (fromMs + byMs) / 2 }, seen, bus),
    'the formal relay does not close, or its resistor is open')
  return left
}

export function chargedCheck(
  position: PositionState, bleeder: Bleeder, { value, u, atMs }: Seen, bus: Seen,
): Check {
  const perAmp = bleeder.ohm * bleeder.stoodV / leftV(bleeder, atMs)
  const volts = value * perAmp
  const seen = { value: volts, u: Math.hypot(u * perAmp, volts * bleeder.u / bleeder.ohm) }
  const source = `${100 * chargedShare} % of ${bus.value.toFixed(1)} V in ${formalMostS} s`
  return {
    position, what: 'formal relay closes',
    criterion: judge('contact', seen, 'V', { low: chargedShare * bus.value }, source),
  }
}

async function emptied({ night, p, zero }: Round, position: PositionState, bleeder: Bleeder): Promise<void> {
  const untilMs = night.clock.monotonicMs() + 6000 * bleeder.tauS
  while (night.clock.monotonicMs() < untilMs) {
    const reading = await nextOf(night, position, night.clock.monotonicMs())
    if (reading === null) return
    if ((zero.get(position)!.value - reading.value) * bleeder.ohm < emptyShare * p.voltageV) return
  }
}

/** How long the low resistor and the reading after it take, ms. */
function formalMs({ night, p }: Round, farad: number): number {
  const { fixture } = night.bench
  const missingC = farad * (1 - formalAtShare) * standingShare * p.voltageV
  const tauS = farad * seriesOhm(fixture, { wiring: 'bus', formal: true }, false)
  return 1000 * (missingC / (0.5 * night.plan.supplyLimitA) + 5 * tauS) + 2 * readEveryMs(night)
}

/** Share of the bus that a part reaches through the limiting resistor alone in so many time constants. */
const unchargedAfter = (constants: number): number => 1 - (1 - formalAtShare) * Math.exp(-constants)
