/** What of a jig can be reached: the relays to each terminal, and the most that each instrument may give. */
import { BenchError } from '../base/errors.ts'
import type { JigSpec, LeadName } from '../schema/bench.ts'
import type { JigReach, Pair, SourceReach } from '../schema/jig.ts'
import type { Roles } from '../schema/roles.ts'

interface Wired { readonly roles: Roles; readonly spec: JigSpec }

const usualTouchSafeV = 60

/** The relays that join the leads of one instrument with a pair; none where it is wired for good. */
export function relaysFor(spec: JigSpec, name: LeadName, { high, low }: Pair): number[] {
  const leads = spec.leads?.[name]
  if (!leads) {
    if (high !== 1 || low !== 2)
      throw beyond('terminals', `${high} to ${low}`, `${name} is wired from 1 to 2 for good`)
    return []
  }
  return bothOf(spec, leads, { high, low })
}

/** The relays that join two terminals by the bare wire of the jig. */
export function jointRelays(spec: JigSpec, pair: Pair): number[] {
  if (!spec.joint) throw new BenchError('REFUSED', 'the jig has no wire that joins two terminals')
  return bothOf(spec, spec.joint, pair)
}

function bothOf(
  spec: JigSpec, leads: { readonly high: readonly number[]; readonly low: readonly number[] },
  { high, low }: Pair,
): number[] {
  const relays = [leads.high[high - 1], leads.low[low - 1]]
  if (relays.includes(undefined))
    throw beyond('terminals', `${high} to ${low}`, `${spec.terminals} terminals`)
  return relays as number[]
}

/** Most volts while hands may be at the terminals: a source may give less while its interlock is open. */
export function openVolts(
  { roles: { source }, spec, touchSafeV = usualTouchSafeV }: Wired & { readonly touchSafeV?: number },
): number {
  const most = Math.min(spec.voltageMaxV, touchSafeV)
  return spec.cover ? Math.min(most, source?.ratings.interlockOpenV ?? most) : most
}

export function reachOf({ roles, spec }: Wired, mostOpenV: number): JigReach {
  const { bridge, 'ohm-meter': meter } = roles
  const led = (name: LeadName): boolean => spec.leads === undefined || spec.leads[name] !== undefined
  const sourceReach = (role: 'source' | 'second-source'): SourceReach | null => {
    const source = roles[role]
    if (!source || !led(role)) return null
    const { voltageMaxV, currentMaxA } = source.ratings
    const coveredMaxV = Math.min(voltageMaxV, spec.voltageMaxV)
    return {
      voltageMaxV: Math.min(voltageMaxV, mostOpenV), currentMaxA: Math.min(currentMaxA, spec.currentMaxA),
      ...role === 'source' && spec.cover && coveredMaxV > mostOpenV ? { coveredMaxV } : {},
    }
  }
  return {
    terminals: spec.terminals,
    bridge: bridge && led('bridge') ? { frequenciesHz: bridge.frequenciesHz, levelsV: bridge.levelsV } : null,
    joint: spec.joint !== undefined,
    ohms: meter && led('ohm-meter') ? { wires: meter.wires } : null,
    source: sourceReach('source'),
    secondSource: sourceReach('second-source'),
  }
}

export const beyond = (what: string, got: string, expected: string): BenchError =>
  new BenchError('OUT_OF_RANGE', `${what} at the jig`, { expected, got })
