/** From measurements to a grade with its reasons: every comparison carries its uncertainty and its source. */
import { formatSi } from '../base/format.ts'
import { combineGrades } from '../analysis/conformance.ts'
import { rest } from '../engine/bus.ts'
import { bledFromMore } from '../engine/drop.ts'
import type { Night } from '../engine/night.ts'
import type { PositionState } from '../engine/position.ts'
import { condemned } from '../safety/verdict.ts'
import type { BridgeReading } from '../schema/roles.ts'
import {
  gradeWords, upToWords, type Criterion, type Disposition, type Grade, type PartResult,
} from '../schema/run.ts'
import { esrLimitOhm } from './bridge.ts'
import { fitDecayInWindow } from '../analysis/decay-fit.ts'
import type { Leaving, Leavings, SoakTrace } from './climb.ts'
import { criterion, show } from './criteria.ts'
import type { FormalReading } from './formal.ts'

export interface Evidence {
  traces: Map<PositionState, SoakTrace>
  leavings: Leavings
  formal: Map<PositionState, FormalReading | string>
  recoveredV: Map<PositionState, number>
  /** Words where the bridge could not be used. */
  bridge: Map<PositionState, BridgeReading | string>
  /**
   * Parts that did not show their charge when they left the bus: whatever they showed
   * later, their contact is not good.
   */
  lost: ReadonlySet<PositionState>
  provisional: boolean
  /** What the parts were formed to, volts. */
  targetV: number
}

const dispositionOf: Record<Grade, Disposition> = {
  accept: 'use', marginal: 'retest', reject: 'replace', 'cannot tell': 'retest',
}

/**
 * Grades every position of the night and leaves the result on it; between parts, whose
 * fits take a while, others get their turn.
 */
export async function gradeParts(night: Night, evidence: Evidence): Promise<void> {
  for (const position of night.positions) {
    await rest(night, 1)
    position.result = gradePart(position, evidence)
    if (position.stage !== 'dropped') position.stage = 'graded'
    const { spec: { name }, part: { part }, result } = position
    const { disposition, reason } = result
    if (reason.startsWith(benchFault)) {
      const told = { severity: 'warning' as const, position: name, text: `${name}: ${reason}` }
      void night.recorder.event({ kind: 'bench-fault', ...told }).catch(() => {})
    }
    void night.recorder.event({
      kind: 'grade', position: name,
      text: `${name} ${part}: ${gradeWords(result)}, ${disposition}: ${reason}`,
    }).catch(() => {})
  }
}

export function gradePart(position: PositionState, evidence: Evidence): PartResult {
  const leaving =
    evidence.leavings.get(position) ?? droppedBySupervisor(position, evidence.formal.get(position))
  if (leaving) {
    return left(position, leaving.grade === 'reject' ? bridged(position, evidence) ?? leaving : leaving)
  }
  const formal = evidence.formal.get(position)
  if (formal === undefined || typeof formal === 'string') {
    return cannotTell(position, formal ?? 'no formal reading')
  }
  if (position.held.state !== 'dead') return cannotTell(position, position.held.words)
  const reading = evidence.bridge.get(position)
  if (evidence.lost.has(position)) return cannotTell(position,
    'its charge did not come back when it left the bus: a contact that comes and goes')
  const cameBackV = evidence.recoveredV.get(position) ?? 0
  if (cameBackV > absorbedShare * evidence.targetV) {
    return cannotTell(position,
      `it came back to ${cameBackV.toFixed(0)} V, more than absorption can: a contact that comes and goes`)
  }
  const bridge = typeof reading === 'string' ? undefined : reading
  const criteria = [leakageCriterion(formal), ...(bridge ? bridgeCriteria(position, bridge) : [])]
  const figures = figuresOf(position, formal, bridge, evidence.recoveredV.get(position),
    evidence.traces.get(position))
  // Leakage that was read stays on record, though it is not enough for a grade.
  if (typeof reading === 'string') return { ...cannotTell(position, reading), criteria, figures }
  return heldTo(position, evidence.targetV, {
    ...base(position), ...underFormed(position, criteria, evidence.targetV),
    provisional: evidence.provisional, figures,
  })
}

/** A good word on a part that was taken to less than its rating holds for as much, and says so. */
export function heldTo(
  { profile: { ratedV } }: PositionState, targetV: number, result: PartResult,
): PartResult {
  if (targetV >= ratedV || result.grade !== 'accept' && result.grade !== 'marginal') return result
  const upTo = { volts: targetV, ratedV }
  return { ...result, upTo, reason: `${result.reason}, ${upToWords(upTo)}` }
}

/** Absorption gives back 10 to 15 % (trade reference); past twice that something else held the charge. */
const absorbedShare = 0.3
/** Below this share of its rating the oxide of a part is thinner than its capacitance is stated for. */
const formedShare = 0.95

/** Too much capacitance after forming to less than the rating condemns nothing: thin oxide reads high. */
function underFormed(
  position: PositionState, criteria: readonly Criterion[], targetV: number,
): ReturnType<typeof combine> {
  const { ratedV } = position.profile
  const isHigh = ({ name, value, limitHigh }: Criterion): boolean =>
    name === 'capacitance' && limitHigh !== undefined && value > limitHigh
  const high = targetV < formedShare * ratedV ? criteria.find(isHigh) : undefined
  const rest = combine(criteria.filter(criterion => criterion !== high))
  if (high === undefined || rest.grade === 'reject') return { ...rest, criteria }
  return {
    grade: 'cannot tell', disposition: 'form', pConform: NaN, criteria,
    reason: `capacitance ${show(high)}, but the part was formed to ${targetV} V of ${ratedV} V: `
      + 'form it to its rating',
  }
}

/** The worst criterion decides and gives the reason. */
export function combine(
  criteria: readonly Criterion[],
): Pick<PartResult, 'grade' | 'disposition' | 'pConform' | 'reason' | 'criteria'> {
  const { grade, pConform } = combineGrades(criteria)
  const worst = criteria.find(criterion => criterion.grade === grade)!
  return {
    grade, disposition: dispositionOf[grade], criteria, pConform,
    reason: grade === 'accept' ? 'within every limit with its uncertainty' : `${worst.name} ${show(worst)}`,
  }
}

const base = (position: PositionState): Pick<PartResult, 'position' | 'part' | 'profile'> =>
  ({ position: position.spec.name, part: position.part.part, profile: position.profile.name })

/**
 * `underFormed`: words of the formal reading where the part had not been formed far
 * enough to be condemned by it.
 */
function droppedBySupervisor(
  position: PositionState, underFormed: FormalReading | string | undefined,
): Leaving | null {
  if (position.stage !== 'dropped') return null
  if (typeof underFormed === 'string') {
    return { grade: 'cannot tell', disposition: 'form', reason: underFormed, stepV: NaN }
  }
  return { ...(position.verdict ?? condemned), reason: position.note, stepV: NaN }
}

const benchFault = 'bench fault'
/** Of one that was fed past its limiting resistor nothing is said. */
function bridged(position: PositionState, { targetV }: Evidence): Leaving | null {
  const { leftWith, bledV } = position
  if (!leftWith || bledV === null || !bledFromMore(position, targetV)) return null
  const mostV = Math.max(0, leftWith.volts ?? 0)
  return {
    grade: 'cannot tell', disposition: 'retest', stepV: NaN,
    reason: `${benchFault}: it bled from ${bledV.toFixed(0)} V, and with ${formatSi(leftWith.amps, 'A', 3)} `
      + `through its limiting resistor it stood at ${mostV.toFixed(0)} V at most: `
      + 'its formal relay is welded, or the resistor is bridged',
  }
}

/** What was seen when the part left stays on record; without a comparison nothing is said of its chances. */
function left(position: PositionState, leaving: Leaving): PartResult {
  const { grade, disposition, reason, stepV, criteria = [] } = leaving
  const { leftWith } = position
  return {
    ...base(position), grade, provisional: false, disposition, reason, criteria,
    pConform: criteria.length === 0 ? NaN : Math.min(...criteria.map(entry => entry.pConform)),
    figures: {
      ...(Number.isFinite(stepV) ? { leftAtV: stepV } : {}),
      ...(leftWith ? { leftCurrentA: leftWith.amps, leftCurrentU: leftWith.uA } : {}),
      ...(leftWith && leftWith.volts !== null ? { leftPartV: leftWith.volts } : {}),
    },
  }
}

export const cannotTell = (position: PositionState, reason: string): PartResult => ({
  ...base(position), grade: 'cannot tell', provisional: false, disposition: 'retest', pConform: NaN, reason,
  criteria: [], figures: {},
})

const leakageCriterion = ({ atTarget, limitA, source }: FormalReading): Criterion =>
  criterion('leakage', atTarget, 'A', { high: limitA }, source)

export function bridgeCriteria(position: PositionState, { capacitance, esr }: BridgeReading): Criterion[] {
  const { capacitanceF, toleranceMinus, tolerancePlus, esrFactorMax } = position.profile
  return [
    criterion('capacitance', capacitance, 'F',
      { low: capacitanceF * (1 - toleranceMinus), high: capacitanceF * (1 + tolerancePlus) },
      'tolerance of the part profile'),
    criterion('esr', esr, 'Ω', { high: esrFactorMax * esrLimitOhm(position) },
      `${esrFactorMax} × the ESR of a new part, from its tan δ limit`),
  ]
}

function figuresOf(
  position: PositionState, formal: FormalReading, reading: BridgeReading | undefined,
  recoveredV: number | undefined, trace: SoakTrace | undefined,
): Record<string, number> {
  return {
    formalLeakageA: formal.leakage.value, formalLeakageU: formal.leakage.u, formalVolts: formal.volts,
    formalAfterS: formal.afterS, formalAtMs: formal.leakage.atMs,
    ...(formal.caseC === null ? {} : { formalCaseC: formal.caseC }),
    ...(reading ? {
      capacitanceF: reading.capacitance.value, esrOhm: reading.esr.value,
      dissipation: reading.dissipation.value,
    } : {}),
    ...(recoveredV === undefined ? {} : { recoveredV }), highestV: position.knownV,
    ...(trace ? decayFigures(trace) : {}),
  }
}

/** Power law with a floor through as much of the soak as it explains, where the readings carry one. */
function decayFigures({ fromMs, tS, iA, uA }: SoakTrace): Record<string, number> {
  const { fit, window } = fitDecayInWindow({ tS, iA, uA })
  if (!fit.ok || window === null) return {}
  return {
    decayAmplitudeA: fit.amplitudeA.value, decayAmplitudeU: fit.amplitudeA.u,
    decayExponent: fit.exponent.value,
    decayExponentU: fit.exponent.u, decayReferenceS: fit.referenceS, decayFromMs: fromMs,
    decayWindowFromS: window.fromS, decayWindowToS: window.toS, decayMisfit: window.misfit,
    ...(fit.floorA ? { decayFloorA: fit.floorA.value, decayFloorU: fit.floorA.u } : {}),
  }
}
