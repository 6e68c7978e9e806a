/** How far the jig has come from what it was compensated by. Pure. */
import { formatDuration, formatSi } from '../base/format.ts'
import type { NullRow } from '../schema/compensation.ts'
import { openAt, type OpenRead } from './nulls.ts'
import { afterwards, rowOf, strayLoss, twice } from './residuals.ts'

/** Further apart than this many combined standard uncertainties it has drifted (common practice). */
const driftFactor = 3

/** The largest of what moved, measured against what leaves that open. */
export interface Drift {
  /** `the wire reads 2.0 mΩ`. */
  readonly says: string
  /** In combined standard uncertainties. */
  readonly off: number
  readonly isDrifted: boolean
}

interface Moved { readonly what: string; readonly by: number; readonly unit: string; readonly u: number }

/** Null where nothing of it can be compared. */
export function driftOf(before: readonly NullRow[], now: readonly NullRow[]): Drift | null {
  return worst(now.flatMap(row => {
    const earlier = rowOf(before, row.frequencyHz)
    if (!earlier) return []
    return [...shortMoved(earlier, row), ...openMoved(earlier, row.frequencyHz, row)]
  }))
}

/** The same, of the empty jig alone. */
export function emptyDrift(before: readonly NullRow[], open: OpenRead): Drift | null {
  return worst([...open.keys()].flatMap(frequencyHz => {
    const [earlier, now] = [rowOf(before, frequencyHz), openAt(open, frequencyHz)]
    if (!earlier || !now) return []
    return openMoved(earlier, frequencyHz, { openS: now.gS, openSusceptanceS: now.bS, openU: now.u })
  }))
}

function shortMoved(before: NullRow, now: NullRow): Moved[] {
  const { frequencyHz } = now
  const omega = 2 * Math.PI * frequencyHz
  const apart = (extent: number): number => Math.hypot(before.shortU, now.shortU, twice * extent)
  const by = now.shortOhm - before.shortOhm
  if (frequencyHz === 0) return [{ what: 'the leads read', by, unit: 'Ω', u: apart(afterwards.leadsOhm) }]
  return [
    { what: 'the wire reads', by, unit: 'Ω', u: apart(afterwards.seriesOhm) },
    {
      what: 'the wire reads', by: (now.shortReactanceOhm - before.shortReactanceOhm) / omega, unit: 'H',
      u: apart(omega * afterwards.seriesH) / omega,
    },
  ]
}

type Beside = Pick<NullRow, 'openS' | 'openSusceptanceS' | 'openU'>

function openMoved(before: Beside, frequencyHz: number, now: Beside): Moved[] {
  if (before.openU === null || now.openU === null) return []
  const omega = 2 * Math.PI * frequencyHz
  const apart = (extentF: number): number => Math.hypot(before.openU!, now.openU!, twice * omega * extentF)
  return [
    {
      what: 'the empty jig reads', by: (now.openSusceptanceS! - before.openSusceptanceS!) / omega, unit: 'F',
      u: apart(afterwards.strayF) / omega,
    },
    {
      what: 'the empty jig reads', by: now.openS! - before.openS!, unit: 'S',
      u: apart(afterwards.strayF * strayLoss),
    },
  ]
}

function worst(moved: readonly Moved[]): Drift | null {
  const off = ({ by, u }: Moved): number => Math.abs(by) / u
  const [most] = [...moved].sort((a, b) => off(b) - off(a))
  if (!most) return null
  return {
    says: `${most.what} ${formatSi(Math.abs(most.by), most.unit, 2)}`, off: off(most),
    isDrifted: off(most) > driftFactor,
  }
}

/** `3 days`, `2 h 05 min`. */
export const ageInWords = (ms: number): string =>
  ms >= 2 * 86_400_000 ? `${Math.floor(ms / 86_400_000)} days` : formatDuration(ms / 1000)
