/** Polarity, the climb in steps, and the soak: one conductor moves the bus, each part is judged by itself. */
import { formatSi } from '../base/format.ts'
import type { Night } from '../engine/night.ts'
import { onBus } from '../engine/night.ts'
import type { PositionState } from '../engine/position.ts'
import { seriesOhm } from '../engine/position.ts'
import { moveBus, nextOf, rest } from '../engine/bus.ts'
import { dropPosition } from '../engine/drop.ts'
import type { Reading } from '../schema/reading.ts'
import type { Criterion, Disposition, Grade, Stage } from '../schema/run.ts'
import { criterion, show } from './criteria.ts'
import { FormingStep } from './forming.ts'
import type { FormingVerdict } from './forming.ts'
import { leakageLimit } from './leakage-limit.ts'
import type { ReformParameters } from './parameters.ts'
import { formingSteps } from './steps.ts'

/** How a part left the run before it could be graded by measurement. */
export interface Leaving {
  grade: Grade; disposition: Disposition; reason: string; stepV: number
  /** The comparison that made it leave, where there was one. */
  criteria?: readonly Criterion[]
}
export type Leavings = Map<PositionState, Leaving>

/** Charge that went in below this share of C·ΔV means that the contact is lost. */
const contactShareMin = 0.3
const judgeEveryMs = 20_000
/** Below this a part at the polarity stop is a short, and what a short takes may well stand still. */
const shortV = 0.5
/** So many equal readings of a part that charges, or conducts the wrong way, are no coincidence. */
const frozenReadings = 5

export async function leave(
  night: Night, leavings: Leavings, position: PositionState, leaving: Omit<Leaving, 'stepV'>,
): Promise<void> {
  if (leavings.has(position)) return
  leavings.set(position, { ...leaving, stepV: night.state.setV })
  const { grade, disposition, reason } = leaving
  await dropPosition(night, position, {
    text: reason, atMs: night.clock.monotonicMs(), verdict: { grade, disposition },
  })
}

/** A first stop at a few volts: a part stuck near 1 to 2 V is presumed reversed or shorted and is dropped. */
export async function polarityStop(night: Night, p: ReformParameters, leavings: Leavings): Promise<void> {
  stage(night, 'polarity')
  await moveBus(night, p.polarityV, p.slewVPerS)
  await rest(night, Math.max(10_000, 5000 * largestTauS(night)))
  await Promise.all(onBus(night).map(async position => {
    const reading = await nextOf(night, position, night.clock.monotonicMs())
    if (reading === null) {
      return await leave(night, leavings, position, {
        grade: 'cannot tell', disposition: 'retest', reason: 'no good reading at the polarity stop',
      })
    }
    const volts = p.polarityV - reading.value * seriesOhm(night.bench.fixture, position, false)
    if (volts > 0.6 * p.polarityV) return
    if (volts > shortV && position.repeats >= frozenReadings) {
      return await leave(night, leavings, position, {
        grade: 'cannot tell', disposition: 'retest',
        reason: `its reading stands still to the bit at ${formatSi(reading.value, 'A')}: `
          + 'part or meter is stuck',
      })
    }
    await leave(night, leavings, position, {
      grade: 'reject', disposition: 'retest',
      reason: `stuck at ${volts.toFixed(1)} V of ${p.polarityV} V: presumed reversed or shorted`,
    })
  }))
}

/**
 * Climbs to the target. Parts that lag, stall, run away or lose contact are dropped on
 * the way; the rest go on.
 */
export async function climb(night: Night, p: ReformParameters, leavings: Leavings): Promise<void> {
  stage(night, 'forming')
  for (const [index, stepV] of formingSteps(night.plan.targetV, p.stepShare, p.fineStepShare, p.polarityV)
    .entries()) {
    if (onBus(night).length === 0) return
    expectEnd(night, index + 1)
    await riseWithContactCheck(night, stepV, p, leavings)
    await holdStep(night, stepV, p, leavings)
  }
}

/** What is left when plan step `from` begins: the shortest stay on each, and what comes after the last. */
function expectEnd(night: Night, from: number): void {
  const { steps, expectedS } = night.plan
  const shortest = (list: typeof steps): number => list.reduce((sum, { minS }) => sum + minS, 0)
  const leftS = shortest(steps.slice(from)) + expectedS - shortest(steps)
  night.state.endsAtMs = night.clock.monotonicMs() + 1000 * leftS
}

/** Raises the bus and compares the charge that each part took with C·ΔV. */
async function riseWithContactCheck(
  night: Night, stepV: number, p: ReformParameters, leavings: Leavings,
): Promise<void> {
  const fromV = night.state.setV
  const chargeC = new Map(onBus(night).map(position => [position, 0]))
  const startedMs = night.clock.monotonicMs()
  night.sampler.hurry((1000 * (stepV - fromV)) / p.slewVPerS + 5000 * largestTauS(night),
    400 * largestTauS(night))
  const counting = new AbortController()
  const stop = { signal: counting.signal, ended: stopped(counting.signal) }
  const counted =
    Promise.all([...chargeC.keys()].map(position => countCharge(night, position, chargeC, stop)))
  // When the run ends during the rise, the rise itself tells; nobody then waits for the counters.
  counted.catch(() => {})
  await moveBus(night, stepV, p.slewVPerS)
  await rest(night, 5000 * largestTauS(night))
  counting.abort()
  await counted
  const riseS = (night.clock.monotonicMs() - startedMs) / 1000
  await Promise.all(onBus(night).map(async position => {
    const farad = position.profile.capacitanceF * (1 - position.profile.toleranceMinus)
    const share = (chargeC.get(position) ?? 0) / (farad * (stepV - fromV))
    if (share >= contactShareMin) return
    await leave(night, leavings, position, {
      grade: 'cannot tell', disposition: 'retest',
      reason: `only ${Math.max(0, 100 * share).toFixed(0)} % of the charge `
        + `for ${(stepV - fromV).toFixed(0)} V went in within ${riseS.toFixed(0)} s: `
        + 'contact lost, presumed charged',
    })
  }))
}

/** One for all positions of a rack, so that a rack of any size adds one listener. */
interface Stop { readonly signal: AbortSignal; readonly ended: Promise<null> }

async function countCharge(
  night: Night, position: PositionState, chargeC: Map<PositionState, number>, stop: Stop,
): Promise<void> {
  let last = await Promise.race([nextOf(night, position, -Infinity), stop.ended])
  while (last !== null && !stop.signal.aborted && position.wiring === 'bus') {
    const now: Reading | null = await Promise.race([nextOf(night, position, last.atMs), stop.ended])
    if (now === null) return
    chargeC.set(position,
      (chargeC.get(position) ?? 0) + ((now.value + last.value) / 2) * ((now.atMs - last.atMs) / 1000))
    last = now
  }
}

const stopped = (signal: AbortSignal): Promise<null> =>
  new Promise(resolve => { signal.addEventListener('abort', () => resolve(null), { once: true }) })

async function holdStep(night: Night, stepV: number, p: ReformParameters, leavings: Leavings): Promise<void> {
  const startedS = night.clock.monotonicMs() / 1000
  const steps = new Map(onBus(night).map(position => [position, new FormingStep(startedS)]))
  for (;;) {
    await rest(night, judgeEveryMs)
    let waiting = 0
    for (const [position, step] of steps) {
      // What the supervisor said of a part that is about to leave stays its reason.
      if (position.wiring !== 'bus' || position.stage === 'dropped') continue
      const verdict = judgePosition(night, position, step, stepV, p)
      if (verdict.kind === 'dwell') { waiting++; position.note = verdict.why; continue }
      if (verdict.kind === 'ready') { position.note = 'ready'; continue }
      await leave(night, leavings, position, leavingOf(verdict, stepV, position))
    }
    if (waiting === 0) return
    // Past the shortest stay nothing is known but that the rest still has to come.
    if (night.clock.monotonicMs() / 1000 - startedS > p.minStepS) night.state.endsAtMs += judgeEveryMs
  }
}

function judgePosition(
  night: Night, position: PositionState, step: FormingStep, stepV: number, p: ReformParameters,
): FormingVerdict {
  const nowS = night.clock.monotonicMs() / 1000
  const { limitA } = leakageLimit(position.profile.leakage, position.profile.capacitanceF, stepV)
  position.limitA = limitA
  if (position.current?.quality === 'good') {
    step.add(position.current.atMs / 1000, position.current.value, noiseOf(position))
  }
  return step.judge(nowS, {
    limitA, minStepS: p.minStepS, maxStepS: p.maxStepS, stallAfterS: p.stallAfterS,
    settledShare: p.settledShare,
  })
}

/** Random part of a current reading: a fifth of its whole uncertainty, and never less than 10 nA. */
const noiseOf = (position: PositionState): number => Math.max(1e-8, 0.2 * (position.current?.u ?? 0))

function leavingOf(
  verdict: Exclude<FormingVerdict, { kind: 'dwell' | 'ready' }>, stepV: number, position: PositionState,
): Omit<Leaving, 'stepV'> {
  const criteria = formingCriterion(position, stepV)
  const numbers = criteria.map(entry => `: ${show(entry)}`).join()
  const at = `at ${stepV.toFixed(0)} V: ${verdict.why}`
  if (verdict.kind === 'unreadable') return { grade: 'cannot tell', disposition: 'retest', reason: at }
  if (verdict.kind === 'overdue' && verdict.improving) {
    const reason = `${at}${numbers}; still improving: form it another night`
    return { grade: 'cannot tell', disposition: 'form', reason, criteria }
  }
  if (verdict.kind === 'overdue') {
    return { grade: 'cannot tell', disposition: 'retest', reason: at + numbers, criteria }
  }
  return { grade: 'reject', disposition: 'replace', reason: at + numbers, criteria }
}

/** The current of the step against the limit at its voltage; none without a good reading. */
function formingCriterion({ current, profile }: PositionState, stepV: number): Criterion[] {
  if (current?.quality !== 'good') return []
  const { limitA, source } = leakageLimit(profile.leakage, profile.capacitanceF, stepV)
  const limitOf = `${source}, at the step of ${stepV.toFixed(0)} V`
  return [criterion('forming', current, 'A', { high: limitA }, limitOf)]
}

/**
 * Current of one part while the bus stood still: the matter of a decay fit. Times from `fromMs`, monotonic.
 */
export interface SoakTrace { fromMs: number; tS: number[]; iA: number[]; uA: number[] }

const traceEveryMs = 60_000

/** Holds the target and follows each part's current. The supervisor drops what goes past its limit here. */
export async function soak(night: Night, seconds: number): Promise<Map<PositionState, SoakTrace>> {
  stage(night, 'soaking')
  expectEnd(night, night.plan.steps.length - 1)
  const fromMs = night.clock.monotonicMs()
  const endMs = fromMs + 1000 * seconds
  const traces =
    new Map(onBus(night).map(position => [position, { fromMs, tS: [], iA: [], uA: [] } as SoakTrace]))
  while (night.clock.monotonicMs() < endMs && onBus(night).length > 0) {
    await rest(night, Math.min(traceEveryMs, Math.max(1, endMs - night.clock.monotonicMs())))
    for (const [position, trace] of traces) {
      const { wiring, current } = position
      const tS = current === null ? NaN : (current.atMs - fromMs) / 1000
      if (wiring !== 'bus' || current?.quality !== 'good' || !(tS > (trace.tS[trace.tS.length - 1] ?? 0))) {
        continue
      }
      trace.tS.push(tS)
      trace.iA.push(current.value)
      trace.uA.push(noiseOf(position))
    }
  }
  return traces
}

export function stage(night: Night, name: Exclude<Stage, 'waiting' | 'dropped' | 'graded'>): void {
  night.state.stage = name
  for (const position of night.positions) {
    if (position.stage === 'dropped' || position.stage === 'graded') continue
    position.stage = name
  }
  void night.recorder.event({ kind: 'stage', text: name }).catch(() => {})
}

/** Charging time constant of the largest part, seconds. */
export const largestTauS = (night: Night): number => Math.max(...night.positions.map(({ profile }) =>
  profile.capacitanceF * (1 + profile.tolerancePlus) * night.bench.fixture.limitOhm), 1)
