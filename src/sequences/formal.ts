/**
 * The formal leakage reading: the part itself at rated voltage through the low resistor, one part at a time.
 */
import type { Night } from '../engine/night.ts'
import { onBus } from '../engine/night.ts'
import type { PositionState } from '../engine/position.ts'
import { partVolts } from '../engine/position.ts'
import { busAgrees, busTolerance, formalResistor, nextOf, rest } from '../engine/bus.ts'
import type { Measured } from '../schema/reading.ts'
import { largestTauS, stage } from './climb.ts'
import { leakageAt, leakageAtTarget } from './formal-leakage.ts'
import type { Known } from './formal-leakage.ts'
import { leakageLimit } from './leakage-limit.ts'

export interface FormalReading {
  /** At the formal instant: as it flowed at `volts`, and carried to the target voltage. */
  leakage: Known
  atTarget: Known
  volts: number
  limitA: number
  afterS: number
  source: string
  caseC: number | null
}

const arrivalShare = 0.995
const arrivalMostS = 60
const meanOverS = 15

/**
 * A part that never stood at this share of target is not formed for it: what it then takes at rated voltage
 * says that its soak was too short, not that it is bad (modelling choice).
 */
const formedShare = 0.95

const noReading = 'no good reading came while the part stood at rated voltage'

const underFormed = (stoodV: number, targetV: number): string =>
  `stood at ${stoodV.toFixed(0)} V of ${targetV.toFixed(0)} V when its soak ended `
  + 'and then took too much at rated voltage: form it longer'

/** One after another, so that a part that fails meets only its own resistor and the supply's limit. */
export async function formalReadings(night: Night): Promise<Map<PositionState, FormalReading | string>> {
  stage(night, 'formal')
  const readings = new Map<PositionState, FormalReading | string>()
  let before = night.drops.size
  for (const position of onBus(night)) {
    if (position.wiring !== 'bus') continue
    await recovered(night, before)
    before = night.drops.size
    if (position.wiring !== 'bus') continue
    const stoodV = partVolts(night.bench.fixture, position, false)
    const got = await formalReading(night, position)
    if (position.wiring === 'bus') readings.set(position, got)
    else if (stoodV !== null && stoodV < formedShare * night.plan.targetV) {
      readings.set(position, underFormed(stoodV, night.plan.targetV))
    }
  }
  return readings
}

/** After a drop the bus may have been down: the parts take back what they lost before the next is read. */
async function recovered(night: Night, dropsBefore: number): Promise<void> {
  await busAgrees(night, night.plan.targetV)
  if (night.drops.size > dropsBefore) await rest(night, 5000 * largestTauS(night))
}

async function formalReading(night: Night, position: PositionState): Promise<FormalReading | string> {
  const { profile, spec } = position
  const { limitA, afterS, source } = leakageLimit(profile.leakage, profile.capacitanceF, night.plan.targetV)
  position.limitA = limitA
  night.sampler.attend(1000 * (afterS + arrivalMostS))
  if (spec.formalRelay !== undefined) await formalResistor(night, position, true)
  tellFormal(night, position, true)
  try {
    const arrivedMs = await arrival(night, position)
    if (arrivedMs === null) return 'the part did not reach rated voltage'
    const readings: Measured[] = []
    while (position.wiring === 'bus') {
      const reading = await nextOf(night, position, night.clock.monotonicMs())
      if (reading === null) return noReading
      if (reading.atMs >= arrivedMs + 1000 * (afterS - meanOverS)) readings.push(reading)
      if (reading.atMs >= arrivedMs + 1000 * afterS) break
    }
    if (readings.length === 0) return 'dropped during the reading'
    const volts = partVolts(night.bench.fixture, position, false) ?? NaN
    const leakage = leakageAt(readings, arrivedMs + 1000 * afterS)
    const atTarget = leakageAtTarget(leakage, { value: volts, u: night.sampler.busV?.u ?? 0 },
      night.plan.targetV)
    return { leakage, atTarget, volts, limitA, afterS, source, caseC: position.caseC }
  } finally {
    if (position.formal) await formalResistor(night, position, false).catch(() => {})
    tellFormal(night, position, false)
  }
}

/**
 * `on`: the low resistor is in, where the position has one. The record needs both ends
 * to tell the part's volts.
 */
function tellFormal(night: Night, { spec }: PositionState, on: boolean): void {
  const by = spec.formalRelay === undefined ? 'the limiting resistor' : 'the low resistor'
  const how = `${night.plan.targetV} V through ${by}`
  void night.recorder.event({
    kind: 'formal', position: spec.name, data: { on, lowResistor: spec.formalRelay !== undefined },
    text: on ? `${spec.name} at ${how}` : `formal reading of ${spec.name} ends`,
  }).catch(() => {})
}

/** When the part stood at rated voltage, monotonic ms; null when it does not get there. */
async function arrival(night: Night, position: PositionState): Promise<number | null> {
  const untilMs = night.clock.monotonicMs() + 1000 * arrivalMostS
  while (night.clock.monotonicMs() < untilMs && position.wiring === 'bus') {
    const reading = await nextOf(night, position, night.clock.monotonicMs())
    if (reading === null) return null
    const volts = partVolts(night.bench.fixture, position, false)
    if (volts !== null && volts >= arrivalShare * night.plan.targetV - busTolerance(night)) {
      return reading.atMs
    }
  }
  return null
}
