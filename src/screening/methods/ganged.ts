/**
 * Potentiometers with several tracks on one shaft: each is proven by itself, then every further one beside
 * the first at three places of the shaft, where their shares of the track are held against each other in dB.
 * The person moves the leads and the shaft; which end of a track a lead lies at shows as the shaft moves.
 */
import type { Jig, Pair } from '../../schema/jig.ts'
import type { Measured } from '../../schema/reading.ts'
import { faulty, found, type Finding, type Proof } from '../proof.ts'
import type { Gangs, Potentiometer } from '../to-prove.ts'
import type { Guide } from './guide.ts'
import { leadsMoved, type Move } from './leads-moved.ts'
import { provePotentiometer } from './potentiometer.ts'
import { withLeads } from './resistor.ts'
import { steadyOf } from './steady.ts'

const pauseMs = 50
/** Looks until a person is not waited for any more, and such in a row that agree once the shaft rests. */
const [looksMost, restingLooks] = [600, 10]
/** Looks agree within this share of a track; a shaft has moved once its share changed by this much. */
const [agreeShare, movedShare] = [0.002, 0.015]
const rangeRoom = 1.25

/** A track that was proven: ohms from end to end, and of an end with its wiper there. */
interface Track { readonly wholeOhm: number; readonly wholeU: number; readonly endOhm: number }
interface Quantity { readonly value: number; readonly u: number }
type Both<T> = readonly [T, T]

export async function proveGanged(jig: Jig, part: Potentiometer, gangs: Gangs, guide: Guide): Promise<Proof> {
  const proofs: Proof[] = []
  for (let gang = 1; gang <= gangs.count; gang++) {
    const failed = gang > 1 ? await moved(jig, guide, toGang(gang)) : null
    const proof = failed ?? await provePotentiometer(jig, part, guide)
    proofs.push(named(proof, gang))
    // Without its ends it was not turned: it is far from its value, and judged by that.
    if (proof.fault || proof.figures['endOhm'] === undefined) return merged(proofs)
  }
  for (let gang = 2; gang <= gangs.count; gang++) {
    const tracks = [trackOf(proofs[0]!), trackOf(proofs[gang - 1]!)] as const
    const proof = await tracking(jig, gangs, gang, tracks, guide)
    proofs.push(proof)
    if (proof.fault) break
  }
  return merged(proofs)
}

const trackOf = ({ figures }: Proof): Track => {
  const of = (name: string): number => Object.entries(figures).find(([key]) => key.startsWith(name))![1]
  return { wholeOhm: of('trackOhm'), wholeU: of('trackU'), endOhm: of('endOhm') }
}

const named = ({ findings, fault, figures, notes }: Proof, gang: number): Proof => ({
  findings: findings.map(one =>
    ({ ...one, limit: { ...one.limit, source: `gang ${gang}: ${one.limit.source}` } })),
  fault: fault && { ...fault, says: `gang ${gang}: ${fault.says}` },
  figures: Object.fromEntries(
    Object.entries(figures).map(([name, value]) => [`${name}, gang ${gang}`, value])),
  notes: notes.map(note => `gang ${gang}: ${note}`),
})

const merged = (proofs: readonly Proof[]): Proof => ({
  findings: proofs.flatMap(({ findings }) => findings), notes: proofs.flatMap(({ notes }) => notes),
  fault: proofs.find(({ fault }) => fault !== null)?.fault ?? null,
  figures: Object.assign({}, ...proofs.map(({ figures }) => figures)) as Record<string, number>,
})

const toGang = (gang: number): Move => ({
  text: `take the leads off, then lead 1 to an end of gang ${gang}, lead 2 to its wiper, ` +
    'lead 3 to its other end',
  pairs: [{ high: 1, low: 2 }, { high: 2, low: 3 }],
})
const beside = (gang: number): Move => ({
  text: 'take the leads off, then lead 1 to an end of gang 1, lead 2 to its wiper, ' +
    `lead 3 to the same end of gang ${gang}, lead 4 to its wiper`,
  pairs: [{ high: 1, low: 2 }, { high: 3, low: 4 }],
})

async function moved(jig: Jig, guide: Guide, move: Move): Promise<Proof | null> {
  const leads = await leadsMoved(jig, guide, move, 'any')
  if (leads === 'kept on') return faulty('cannot tell', 'nobody moved the leads to it')
  return leads === 'open'
    ? faulty('open', 'it never conducted: a leg is open, or no lead is on it') : null
}

const places = ['a quarter', 'half', 'three quarters'] as const

async function tracking(
  jig: Jig, { trackingDb: limit }: Gangs, gang: number, tracks: Both<Track>, guide: Guide,
): Promise<Proof> {
  const failed = await moved(jig, guide, beside(gang))
  if (failed) return named(failed, gang)
  const shaft = new TwoTracks(jig, tracks, guide)
  const seen: Both<Quantity>[] = []
  for (const place of places) {
    const text = `set the shaft to ${place} of its turn from the left and leave it there`
    const shares = await shaft.restsAt(text)
    if (shares === null) return faulty('cannot tell', `its shaft was not set to ${place} of its turn`)
    seen.push(shares)
  }
  const lying = fromTheLeft(seen)
  if (lying === null)
    return faulty('cannot tell', `gangs 1 and ${gang} do not move together: is a lead elsewhere?`)
  const apart = lying.map(([one, other]) => decibels(one, other))
  const worst = apart.reduce((most, one) => Math.abs(one.value) > Math.abs(most.value) ? one : most)
  const figures = Object.fromEntries(apart.map(({ value }, i) => [`dB at ${places[i]}, gang ${gang}`, value]))
  const finding: Finding = {
    name: 'tracking', measured: { value: Math.abs(worst.value), u: worst.u }, unit: 'dB',
    limit: { ...limit, source: `gang ${gang} against gang 1: ${limit.source}` },
    conditions: 'worst of a quarter, half and three quarters of the turn, set by hand',
  }
  return found([finding], figures)
}

/** One over the other as a level. */
export function decibels(one: Quantity, other: Quantity): Quantity {
  const perShare = 20 / Math.LN10
  return {
    value: 20 * Math.log10(one.value / other.value),
    u: perShare * Math.hypot(one.u / one.value, other.u / other.value),
  }
}

/**
 * Shares from the end that the shaft was turned away from, whichever ends the leads lie at; null where a
 * share does not go one way all along.
 */
export function fromTheLeft(seen: readonly Both<Quantity>[]): Both<Quantity>[] | null {
  const ways = ([0, 1] as const).map(gang => {
    const steps = seen.slice(1).map((shares, i) => Math.sign(shares[gang].value - seen[i]![gang].value))
    return steps.every(step => step === steps[0]) ? steps[0]! : 0
  })
  if (ways.includes(0)) return null
  const turned = ({ value, u }: Quantity, way: number): Quantity =>
    ({ value: way > 0 ? value : 1 - value, u })
  return seen.map(([one, other]) => [turned(one, ways[0]!), turned(other, ways[1]!)])
}

/** Watches an end and the wiper of two tracks while a person sets the shaft. */
class TwoTracks {
  readonly #jig: Jig
  readonly #tracks: Both<Track>
  readonly #guide: Guide
  #last: Both<number> | null = null

  constructor(jig: Jig, tracks: Both<Track>, guide: Guide) {
    this.#jig = jig
    this.#tracks = tracks
    this.#guide = guide
  }

  /** Shares of both, once the shaft rests elsewhere than it did; null where that took too long. */
  async restsAt(text: string): Promise<Both<Quantity> | null> {
    this.#guide.say(text)
    const seen: Both<Measured>[] = []
    for (let look = 0; look < looksMost; look++) {
      await this.#jig.rest(pauseMs)
      this.#guide.goesOn()
      seen.push([await this.#read(0), await this.#read(1)])
      const resting = seen.slice(-restingLooks)
      const shares = [this.#restingShare(resting, 0), this.#restingShare(resting, 1)] as const
      if (resting.length < restingLooks || shares[0] === null || shares[1] === null) continue
      const now = [shares[0].value, shares[1].value] as const
      const last = this.#last ??= [seen[0]![0].value / this.#tracks[0].wholeOhm, NaN]
      const hasMoved = now.some((share, i) => Math.abs(share - last[i]!) > movedShare)
      if (!hasMoved) continue
      this.#last = now
      return [shares[0], shares[1]]
    }
    return null
  }

  async #read(gang: 0 | 1): Promise<Measured> {
    const mostOhm = this.#tracks[gang].wholeOhm * rangeRoom
    return await this.#jig.resistance(pairs[gang], { mostOhm, wires: 2 })
  }

  /** What the wiper itself adds is between nothing and what is left at a stop. */
  #restingShare(resting: readonly Both<Measured>[], gang: 0 | 1): Quantity | null {
    const { wholeOhm, wholeU, endOhm } = this.#tracks[gang]
    const { value, u, moved, isSteady, quality } = steadyOf(resting.map(both => both[gang]))
    if (quality !== 'good' || !(isSteady || moved <= agreeShare * wholeOhm)) return null
    const share = (Math.abs(value) - endOhm / 2) / wholeOhm
    const readU = Math.hypot(withLeads(this.#jig, pairs[gang], u, 2), endOhm / Math.sqrt(12))
    return { value: share, u: Math.hypot(readU, share * wholeU) / wholeOhm }
  }
}
const pairs: Both<Pair> = [{ high: 1, low: 2 }, { high: 3, low: 4 }]
