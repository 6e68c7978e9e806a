/** One unit proven on a stand of its own, in virtual time, and what was said of it beside what it is. */
import type { UnitKind } from '../../mocks/units/make-unit.ts'
import { proveOnStand } from '../../nights/verify-stand.ts'
import type { ClaimEnd } from '../../src/schema/claims.ts'
import type { Figure } from '../../src/schema/figure.ts'
import { drawStudyUnit } from './draw.ts'
import { truthOf } from './truths.ts'

export interface ProvenFigure {
  readonly quantity: Figure['quantity']
  readonly value: number
  readonly u: number
  readonly bound: 'at most' | 'at least' | null
  readonly truth: number
}
export interface ProvenClaim {
  readonly quantity: Figure['quantity']
  readonly end: ClaimEnd
  readonly pConform: number
  readonly isTrue: boolean
}
export interface ProvenUnit {
  readonly index: number
  readonly kind: UnitKind
  readonly state: string
  readonly why: string
  readonly figures: readonly ProvenFigure[]
  readonly claims: readonly ProvenClaim[]
  /** Times of the bench and of this process, s. */
  readonly benchS: number
  readonly cpuS: number
}

/** Bias and temperatures have come to rest enough for what is claimed. */
const warmS = 600

export async function proveOne(seed: number, index: number): Promise<ProvenUnit> {
  const { kind, unit, profile, benchSeed } = drawStudyUnit(seed, index)
  const started = process.cpuUsage()
  const { state, result, told, stand, latched } = await proveOnStand({
    unit, profile, seed: benchSeed, parameters: { warmS, spectra: false }, bench: { errors: 'normal' },
  })
  const { user, system } = process.cpuUsage(started)
  const curves = result?.unit?.curves ?? []
  const truths = new Map(told.map(one => [one.figure, truthOf({ ...one, sim: stand.sim, curves })]))
  const figures = told.flatMap(({ figure }): ProvenFigure[] => {
    const { quantity, value, u, bound = null } = figure
    const truth = truths.get(figure) ?? null
    return truth === null ? [] : [{ quantity, value, u, bound, truth }]
  })
  const claims = (result?.unit?.claims ?? []).flatMap(({ claim, end, pConform, figures: used }): ProvenClaim[] => {
    const { quantity, least = -Infinity, most = Infinity } = claim
    const truth = used.length === 1 ? truths.get(used[0]!) ?? null : null
    return truth === null ? [] : [{ quantity, end, pConform, isTrue: truth >= least && truth <= most }]
  })
  return {
    index, kind, state, why: latched ?? result?.unit?.left.join('; ') ?? '', figures, claims,
    benchS: stand.clock.monotonicMs() / 1000, cpuS: (user + system) / 1e6,
  }
}
