/**
 * Which legs of a three-legged bipolar transistor are which, found by its two junctions and never
 * assumed. Six looks between pairs of legs, each under the probing limits; the leg that conducts to both
 * others is the base. Collector and emitter are told apart by the gain both ways: it is far greater the
 * right way round.
 */
import { formatSi } from '../../base/format.ts'
import { probing, type Jig, type Pair, type Terminal } from '../../schema/jig.ts'
import { readSteady } from './steady.ts'

const legs: readonly Terminal[] = [1, 2, 3]
const pulseMs = 20
const shortV = 0.05

export interface Legs {
  readonly base: Terminal
  readonly others: readonly [Terminal, Terminal]
  readonly polarity: 'npn' | 'pnp'
}
export type Found = Legs | { readonly fault: 'short' | 'open' | 'other kind'; readonly says: string }

interface Looked {
  readonly pair: Pair
  readonly conducts: boolean
  readonly volts: number
}

export async function findBase(jig: Jig): Promise<Found> {
  const looks: Looked[] = []
  for (const high of legs) {
    for (const low of legs) {
      if (high === low) continue
      const { voltage, limited } = await jig.force(
        { high, low },
        { currentA: probing.currentA, limitV: probing.voltageV },
        pulseMs,
      )
      looks.push({ pair: { high, low }, conducts: !limited, volts: voltage.value })
    }
  }
  return judgeLooks(looks)
}

/** Pure: what six looks say. */
export function judgeLooks(looks: readonly Looked[]): Found {
  const shorted = looks.find(
    ({ pair, conducts, volts }) =>
      conducts &&
      Math.abs(volts) < shortV &&
      looks.some(other => other.conducts && other.pair.high === pair.low && other.pair.low === pair.high),
  )
  if (shorted)
    return { fault: 'short', says: `legs ${shorted.pair.high} and ${shorted.pair.low} are shorted` }
  const on = looks.filter(({ conducts }) => conducts)
  if (on.length === 0) return { fault: 'open', says: 'no leg conducts to another' }
  for (const base of legs) {
    const others = legs.filter(leg => leg !== base) as [Terminal, Terminal]
    const out = others.every(low => on.some(({ pair }) => pair.high === base && pair.low === low))
    const into = others.every(high => on.some(({ pair }) => pair.high === high && pair.low === base))
    if (out !== into && on.every(({ pair }) => pair.high === base || pair.low === base)) {
      return { base, others, polarity: out ? 'npn' : 'pnp' }
    }
  }
  const pairs = on.map(({ pair }) => `${pair.high} to ${pair.low}`).join(', ')
  return on.length === 1
    ? { fault: 'open', says: `only ${pairs} conducts: a junction is open` }
    : { fault: 'other kind', says: `${pairs} conduct: no sound bipolar transistor` }
}

/**
 * Both junctions several times at the probing current: a contact in line with a leg moves them. Null
 * where none does.
 */
export async function movingLeg(jig: Jig, { base, others, polarity }: Legs): Promise<string | null> {
  for (const other of others) {
    const pair: Pair = polarity === 'npn' ? { high: base, low: other } : { high: other, low: base }
    const { moved, isSteady, quality } = await readSteady(
      async () =>
        (await jig.force(pair, { currentA: probing.currentA, limitV: probing.voltageV }, pulseMs)).voltage,
    )
    if (quality === 'good' && !isSteady) {
      return `legs ${base} and ${other} moved by ${formatSi(moved, 'V', 3)}: a poor contact`
    }
  }
  return null
}
