/** A person moves leads of the jig to other legs of a part: seen to come off, then to lie still again. */
import type { Jig, Pair } from '../../schema/jig.ts'
import type { Guide } from './guide.ts'

export interface Move {
  /** What the person is told. */
  readonly text: string
  /** Leads that come off, and conduct to each other before and after. */
  readonly pairs: readonly Pair[]
}

const pauseMs = 50
/** Looks until a person is not waited for any more: some three minutes with the meter. */
const looksMost = 1000
/** Looks in a row that agree show that hands are off; a contact that never agrees is taken as it is. */
const [restingLooks, restlessLooks] = [20, 120]
/** Looks agree within this share, or this many ohms of clips (common practice). */
const [agreeShare, agreeOhm] = [0.02, 0.3]

/** `kept on`: they were never seen off; `open`: they came off, and nothing conducted since. */
export async function leadsMoved(
  jig: Jig, guide: Guide, { text, pairs }: Move, mostOhm: number | 'any',
): Promise<'moved' | 'kept on' | 'open'> {
  guide.say(text)
  const wasOff = pairs.map(() => false)
  let last: number[] = []
  let [rested, onLooks] = [0, 0]
  for (let look = 0; look < looksMost; look++) {
    const ohms: number[] = []
    for (const [i, pair] of pairs.entries()) {
      const { value, quality } = await jig.resistance(pair, { mostOhm, wires: 2 })
      if (quality !== 'good') wasOff[i] = true
      ohms.push(quality === 'good' ? Math.abs(value) : Infinity)
    }
    const isOn = wasOff.every(Boolean) && ohms.every(ohm => ohm < Infinity)
    onLooks = isOn ? onLooks + 1 : 0
    rested = isOn && agree(ohms, last) ? rested + 1 : 0
    last = ohms
    if (rested >= restingLooks || onLooks >= restlessLooks) return 'moved'
    guide.goesOn()
    await jig.rest(pauseMs)
  }
  return wasOff.every(Boolean) ? 'open' : 'kept on'
}

const agree = (ohms: readonly number[], last: readonly number[]): boolean => ohms.every((ohm, i) =>
  Math.abs(ohm - (last[i] ?? Infinity)) <= Math.max(agreeOhm, agreeShare * ohm))
