/** What is said of every selenium rectifier, and which way round a stack of many plates lies. */
import { probing, swapped, type Jig, type Pair, type Point } from '../../schema/jig.ts'

/** Common practice. */
export const seleniumCautions: readonly string[] = [
  'selenium: overloaded or burning it gives off poisonous fumes; do not heat, cut or sand it, air the room',
  'it ages further under load; a silicon part in its place drops less, so that the volts behind it rise',
]

const pulseMs = 20
/** One way lets through at least so many times what the other does. */
const tellingFactor = 3

/** At the probing volts, where a stack of many plates lets through little either way; null: alike. */
export async function stackLies(jig: Jig, pair: Pair): Promise<'forward' | 'reversed' | 'open' | null> {
  const through = async (way: Pair): Promise<{ value: number; u: number }> => {
    const force = { voltageV: probing.voltageV, limitA: probing.currentA }
    const { current } = await jig.force(way, force, pulseMs)
    return { value: Math.abs(current.value), u: current.u }
  }
  const [ahead, back] = [await through(pair), await through(swapped(pair))]
  const noise = tellingFactor * Math.hypot(ahead.u, back.u)
  if (ahead.value < noise && back.value < noise) return 'open'
  if (ahead.value > tellingFactor * back.value) return 'forward'
  return back.value > tellingFactor * ahead.value ? 'reversed' : null
}

/**
 * What leaks at the volts that were asked for: no source gives quite these, and what leaks as a resistor does
 * goes with them, in proportion at most. Where the limit of the source decided it leaks at least so much.
 */
export function leakedAt(
  { current, voltage, limited }: Point, askedV: number,
): { readonly value: number; readonly u: number } {
  const value = Math.abs(current.value)
  if (limited) return { value, u: current.u }
  const offV = Math.hypot(Math.abs(voltage.value) - askedV, voltage.u)
  return { value, u: Math.hypot(current.u, value * offV / askedV) }
}
