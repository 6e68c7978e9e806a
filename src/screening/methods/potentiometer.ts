/**
 * A potentiometer: legs found, track with its tolerance, then a turn that the person makes from stop to stop
 * while the ohms from wiper to one end are read: what is left at each end, how far they ever step back, and
 * the share at half a turn where the list says a law. Rates of turning do not matter.
 */
import { formatSi } from '../../base/format.ts'
import type { Jig, Pair, Terminal } from '../../schema/jig.ts'
import type { Measured } from '../../schema/reading.ts'
import { faulty, found, type Finding, type Proof } from '../proof.ts'
import { valueLimit, type Potentiometer } from '../to-prove.ts'
import type { Guide } from './guide.ts'
import { fourWireBelowOhm, withLeads } from './resistor.ts'
import { readSteady, steadyOf, type Steady } from './steady.ts'

const legs: readonly Terminal[] = [1, 2, 3]
/** From one look at the turning shaft to the next; with the meter some 0.1 s (common practice). */
const pauseMs = 50
/** Looks until a person is not waited for any more: a minute. */
const looksMost = 600
/** So many looks in a row that agree show that the shaft rests. */
const restingLooks = 10
/**
 * Within the first share of the track from an end the wiper is at its stop once it rests. Where too much is
 * left there, or a contact never rests, it is taken as it is after so many looks within the second.
 */
const [stopShare, outerShare] = [0.03, 0.2]
const restlessLooks = 80
/** Less than this share of the track from a leg, and it is not told which leg is the wiper. */
const nearStop = 0.05
/** Looks that differ by less than this share of the track agree. */
const agreeShare = 0.002
/** A range that holds the upper limit of the track, and a part just beyond it. */
const rangeRoom = 1.25

interface Track { readonly ends: readonly [Terminal, Terminal]; readonly wiper: Terminal }

export async function provePotentiometer(jig: Jig, part: Potentiometer, guide: Guide): Promise<Proof> {
  const mostOhm = part.ohm.nominal * (1 + part.ohm.plus) * rangeRoom
  const track = await findTrack(jig, mostOhm, guide)
  if ('fault' in track) return faulty(track.fault, track.says)
  const [high, low] = track.ends
  let wires = wiresFor(jig, part.ohm.nominal)
  const read = (most: number | 'any', by: 2 | 4): Promise<Steady> =>
    readSteady(() => jig.resistance({ high, low }, { mostOhm: most, wires: by }))
  let whole = await read(mostOhm, wires)
  if (whole.quality !== 'good') {
    wires = 2
    whole = await read('any', wires)
  }
  if (whole.quality !== 'good') return faulty('cannot tell', `the meter gave no number: ${whole.quality}`)
  const says = `track from ${high} to ${low}, wiper ${track.wiper}`
  const figures = { trackOhm: whole.value, trackU: whole.u }
  if (!whole.isSteady) {
    const moved = formatSi(whole.moved, 'Ω', 3)
    return faulty('poor contact', `its track moved by ${moved} while it was read: a poor contact`, figures)
  }
  const value: Finding = {
    name: 'resistance',
    measured: { value: whole.value, u: withLeads(jig, { high, low }, whole.u, wires) }, unit: 'Ω',
    limit: valueLimit(part.ohm), conditions: `track, ${wires} wires`,
  }
  // Far from its value it is another part: nobody need turn that.
  if (whole.value > 2 * (value.limit.high ?? Infinity) || whole.value < (value.limit.low ?? 0) / 2)
    return found([value], figures, [says])
  const turn = await turned(jig, part, track, whole.value, guide)
  if ('fault' in turn) return turn
  return found([value, ...turn.findings], { ...figures, ...turn.figures }, [says])
}

const wiresFor = (jig: Jig, ohm: number): 2 | 4 =>
  jig.reach.ohms!.wires.includes(4) && ohm < fourWireBelowOhm ? 4 : 2

const ohmOf = ({ value, quality }: Measured): number => quality === 'good' ? Math.abs(value) : Infinity

type Untraced = { readonly fault: 'open' | 'cannot tell'; readonly says: string }

/**
 * The two legs with most ohms between them are the ends, once the wiper is away from both stops: near one of
 * them the person is asked to turn it.
 */
async function findTrack(jig: Jig, mostOhm: number, guide: Guide): Promise<Track | Untraced> {
  for (let look = 0; look < looksMost / 3; look++) {
    const pairs: { pair: Pair; ohm: number }[] = []
    for (const [high, low] of [[1, 2], [1, 3], [2, 3]] as const) {
      const pair: Pair = { high, low }
      const near = ohmOf(await jig.resistance(pair, { mostOhm, wires: 2 }))
      const ohm = near < Infinity ? near : ohmOf(await jig.resistance(pair, { mostOhm: 'any', wires: 2 }))
      pairs.push({ pair, ohm })
    }
    const judged = judgePairs(pairs)
    if (judged !== 'at a stop') return judged
    if (look === 0) guide.say('set the shaft to the middle')
    guide.goesOn()
    await jig.rest(pauseMs)
  }
  return { fault: 'cannot tell', says: 'its wiper stayed at one end: not turned, or shorted to it' }
}

/** Pure: what the ohms between three legs say. */
export function judgePairs(pairs: readonly { pair: Pair; ohm: number }[]): Track | Untraced | 'at a stop' {
  const through = pairs.filter(({ ohm }) => ohm < Infinity)
  if (through.length === 0) return { fault: 'open', says: 'no leg leads to another' }
  if (through.length < pairs.length) {
    const loose = legs.find(leg => through.every(({ pair }) => pair.high !== leg && pair.low !== leg))
    const which = loose === undefined ? 'a leg is open' : `leg ${loose} leads nowhere: it is open`
    return { fault: 'open', says: which }
  }
  const inOrder = [...pairs].sort((a, b) => b.ohm - a.ohm)
  const [most, least] = [inOrder[0]!, inOrder.at(-1)!]
  if (least.ohm < nearStop * most.ohm) return 'at a stop'
  const { high, low } = most.pair
  return { ends: [high, low], wiper: legs.find(leg => leg !== high && leg !== low)! }
}

interface Turn { readonly findings: Finding[]; readonly figures: Record<string, number> }
type Failed = Proof & { readonly fault: NonNullable<Proof['fault']> }
const failed = (is: NonNullable<Proof['fault']>['is'], says: string): Failed =>
  ({ ...faulty(is, says), fault: { is, says } })

async function turned(
  jig: Jig, part: Potentiometer, { ends, wiper }: Track, wholeOhm: number, guide: Guide,
): Promise<Turn | Failed> {
  const shaft = new TurningShaft(jig, { high: ends[0], low: wiper }, wholeOhm, guide)
  const first = await shaft.toStop('turn the shaft to a stop and leave it there', 'either')
  if (first === null) return failed('cannot tell', 'its shaft came to no stop: nothing was heard of its ends')
  const findings: Finding[] = []
  const firstEnd = await endAt(jig, part, ends, wiper, first)
  if ('fault' in firstEnd) return firstEnd
  const other = first === 0 ? 1 : 0
  const way = await shaft.toStop('turn it to the other stop in some ten seconds, without going back', other)
  if (way === null) return failed('cannot tell', 'its shaft did not come to its other stop')
  const lost = shaft.lost
  if (lost > 0) return failed('open', `its wiper lost the track ${lost} times on the way`)
  const back = steppedBack(shaft.seen, other === 1 ? 1 : -1)
  const secondEnd = await endAt(jig, part, ends, wiper, other)
  if ('fault' in secondEnd) return secondEnd
  findings.push({
    name: 'wiper noise', measured: back, unit: 'Ω', limit: part.noiseOhm,
    conditions: `largest step back in ${shaft.seen.length} looks from stop to stop`,
  }, firstEnd, secondEnd)
  const endOhm = Math.max(firstEnd.measured.value, secondEnd.measured.value)
  const figures = { noiseOhm: back.value, endOhm }
  if (!part.half) return { findings, figures }
  const share = await shaft.atHalf()
  if (share === null) return failed('cannot tell', 'its shaft was not left near the middle')
  return {
    findings: [...findings, {
      name: 'share at half a turn', measured: share, unit: '1', limit: part.half,
      conditions: 'set by hand, from the nearer end',
    }],
    figures: { ...figures, halfShare: share.value },
  }
}

/** What is left between wiper and an end at its stop; a contact that moves shows here, beside so few ohms. */
async function endAt(
  jig: Jig, part: Potentiometer, ends: Track['ends'], wiper: Terminal, end: 0 | 1,
): Promise<Finding | Failed> {
  const wires = jig.reach.ohms!.wires.includes(4) ? 4 : 2
  const pair: Pair = { high: ends[end], low: wiper }
  const most = Math.max(10 * (part.endOhm.high ?? 1), 2 * outerShare * part.ohm.nominal)
  const { value, u, moved, isSteady, quality } =
    await readSteady(() => jig.resistance(pair, { mostOhm: most, wires }))
  if (quality !== 'good') return failed('cannot tell', `the meter gave no number at the stop: ${quality}`)
  // Wipers are never twice quite the same: a few ohms are no fault, nor what is a small part of the limit.
  if (!isSteady && moved > Math.max(movedLeastOhm, movedShare * (part.endOhm.high ?? 0))) {
    return failed('poor contact', `at its stop it moved by ${formatSi(moved, 'Ω', 3)}: a poor contact`)
  }
  return {
    name: 'end resistance',
    measured: { value: Math.abs(value), u: withLeads(jig, pair, u, wires) }, unit: 'Ω', limit: part.endOhm,
    conditions: `wiper ${wiper} at the stop of ${ends[end]}, ${wires} wires`,
  }
}
const [movedShare, movedLeastOhm] = [0.05, 3]

/**
 * The largest fall below what was reached before, in the direction of turning: ohms. A reading's own noise
 * makes one too, which stays in the uncertainty.
 */
export function steppedBack(seen: readonly Measured[], sign: 1 | -1): { value: number; u: number } {
  let reached = -Infinity
  let back = 0
  for (const { value } of seen) {
    reached = Math.max(reached, sign * value)
    back = Math.max(back, reached - sign * value)
  }
  return { value: back, u: Math.SQRT2 * Math.max(0, ...seen.map(({ u }) => u)) }
}

/** Watches the ohms from one end to the wiper while a person turns the shaft. */
class TurningShaft {
  /** What was read on the last way. */
  seen: Measured[] = []
  /** Looks on the last way that saw no track. */
  lost = 0
  readonly #jig: Jig
  readonly #pair: Pair
  readonly #wholeOhm: number
  readonly #guide: Guide

  constructor(jig: Jig, pair: Pair, wholeOhm: number, guide: Guide) {
    this.#jig = jig
    this.#pair = pair
    this.#wholeOhm = wholeOhm
    this.#guide = guide
  }

  /** The stop that it came to, 0 at the first end; null where a minute brought none. */
  async toStop(text: string, wanted: 0 | 1 | 'either'): Promise<0 | 1 | null> {
    this.#begin(text)
    let outerLooks = 0
    for (let look = 0; look < looksMost; look++) {
      const read = await this.#look()
      const outer = this.#outer(read)
      outerLooks = outer === null || (wanted !== 'either' && outer !== wanted) ? 0 : outerLooks + 1
      if (outerLooks >= restlessLooks) return outer
      if (outerLooks >= restingLooks && this.#rests() && !this.#isInner(read)) return outer
    }
    return null
  }

  /** Share of the track from the nearer end, where it comes to rest away from both. */
  async atHalf(): Promise<{ value: number; u: number } | null> {
    this.#begin('set the shaft to the middle of its turn and leave it there')
    let innerLooks = 0
    for (let look = 0; look < looksMost; look++) {
      const read = await this.#look()
      innerLooks = this.#isInner(read) ? innerLooks + 1 : 0
      if (innerLooks >= restingLooks && this.#rests()) {
        const share = read.value / this.#wholeOhm
        return { value: Math.min(share, 1 - share), u: Math.hypot(read.u / this.#wholeOhm, handU) }
      }
    }
    return null
  }

  #begin(text: string): void {
    this.seen = []
    this.lost = 0
    this.#guide.say(text)
  }

  async #look(): Promise<Measured> {
    await this.#jig.rest(pauseMs)
    this.#guide.goesOn()
    const read = await this.#jig.resistance(this.#pair, { mostOhm: this.#wholeOhm * rangeRoom, wires: 2 })
    if (read.quality === 'good') this.seen.push(read)
    else this.lost++
    return read
  }

  #outer({ value, quality }: Measured): 0 | 1 | null {
    if (quality !== 'good') return null
    return value < outerShare * this.#wholeOhm ? 0 : value > (1 - outerShare) * this.#wholeOhm ? 1 : null
  }

  /** Far enough from either stop to be no stop. */
  #isInner({ value, quality }: Measured): boolean {
    const share = value / this.#wholeOhm
    return quality === 'good' && share > stopShare && share < 1 - stopShare
  }

  #rests(): boolean {
    const last = this.seen.slice(-restingLooks)
    const { moved, isSteady } = steadyOf(last)
    return last.length === restingLooks && (isSteady || moved <= agreeShare * this.#wholeOhm)
  }
}
/** How far from half a turn a hand sets a shaft, as a share of the track (from memory: 5° of 300°). */
const handU = 0.017
