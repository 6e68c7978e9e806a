/**
 * What befalls a part over time: shorts, opens, sparks, slow overheating, contacts that fail. Holds the shunt
 * resistance, the state of contact, and when the next thing can happen. Chance comes from the part's own
 * stream.
 */
import type { SeededRandom } from '../../src/base/random.ts'
import type { PartEvent } from './truth.ts'

type StressEvent = Exclude<PartEvent, { kind: 'contact-open' | 'contact-intermittent' }>
type ContactEvent = Exclude<PartEvent, StressEvent>
interface Stress { event: StressEvent; leftS: number; thresholdV: number }
interface Contact { event: ContactEvent; dueS: number; open: boolean }
export interface Happening { kind: PartEvent['kind'] | 'contact-closed'; atS: number }

/** A shunt on its way down starts from here when it had no value. */
const soundOhm = 1e9
const fallSteps = 40

export class Fate {
  /** True while something inside or at the terminals has come apart. */
  apart = false
  readonly happenings: Happening[] = []
  #random: SeededRandom
  #stress: Stress[] = []
  #contacts: Contact[] = []
  #internallyOpen = false
  #shuntOhm: number
  #fromOhm = Infinity
  #fallFromS = 0
  #fallS = 0
  #falling = false

  constructor(events: PartEvent[], ratedV: number, shuntOhm: number, random: SeededRandom) {
    this.#random = random
    this.#shuntOhm = shuntOhm
    for (const event of events) {
      if (event.kind === 'contact-open' || event.kind === 'contact-intermittent') {
        this.#contacts.push({ event, dueS: event.atS, open: false })
      } else {
        this.#stress.push({ event, leftS: event.afterS, thresholdV: event.atFraction * ratedV })
      }
    }
  }

  get quiet(): boolean { return this.#stress.length === 0 && this.#contacts.length === 0 && !this.#falling }

  /** Conductance of the shunt at `tS`, siemens. */
  shuntS(tS: number): number {
    if (!this.#falling) return 1 / this.#shuntOhm
    const part = Math.min(1, Math.max(0, (tS - this.#fallFromS) / this.#fallS))
    return 1 / (this.#fromOhm * (this.#shuntOhm / this.#fromOhm) ** part)
  }

  /** No step may go beyond this instant, s. */
  nextS(nowS: number, cellV: number): number {
    let next = Infinity
    for (const s of this.#stress) if (cellV >= s.thresholdV - slack(s)) next = Math.min(next, nowS + s.leftS)
    for (const c of this.#contacts) next = Math.min(next, c.dueS)
    if (this.#falling) next = Math.min(next, nowS + this.#fallS / fallSteps, this.#fallFromS + this.#fallS)
    return Math.max(next, nowS)
  }

  /** The lowest threshold that a rise from `fromV` to `toV` crosses, or Infinity. */
  crossedV(fromV: number, toV: number): number {
    let lowest = Infinity
    for (const s of this.#stress) {
      const crossed = fromV < s.thresholdV - slack(s) && toV > s.thresholdV + slack(s)
      if (crossed) lowest = Math.min(lowest, s.thresholdV)
    }
    return lowest
  }

  /** Counts a step's stress. `startV` is the cell's voltage at its start. */
  bear(startV: number, hS: number): void {
    for (const s of this.#stress) if (startV >= s.thresholdV - slack(s)) s.leftS -= hS
  }

  /**
   * Lets happen what is due. Returns the fraction of its volts that the cell loses at once (0 when nothing
   * sparks), or -1 when nothing happened at all.
   */
  strike(nowS: number, cellV: number): number {
    let struck = -1
    if (this.#falling && nowS >= this.#fallFromS + this.#fallS) { this.#falling = false; struck = 0 }
    for (let i = this.#stress.length - 1; i >= 0; i--) {
      const s = this.#stress[i]!
      if (s.leftS > 1e-9 || cellV < s.thresholdV - slack(s)) continue
      struck = Math.max(struck, this.#suffer(s, nowS))
      if (s.event.kind === 'scintillate') s.leftS = this.#gap(s.event.meanGapS)
      else this.#stress.splice(i, 1)
    }
    for (let i = this.#contacts.length - 1; i >= 0; i--) {
      const c = this.#contacts[i]!
      if (nowS < c.dueS) continue
      this.#toggle(c, nowS)
      if (c.event.kind === 'contact-open') this.#contacts.splice(i, 1)
      struck = Math.max(struck, 0)
    }
    return struck
  }

  #suffer(s: Stress, nowS: number): number {
    const event = s.event
    this.happenings.push({ kind: event.kind, atS: nowS })
    if (event.kind === 'scintillate') return event.dropFraction
    if (event.kind === 'open') {
      this.#internallyOpen = true
      this.apart = true
      return 0
    }
    this.#fromOhm = Math.min(this.#shuntOhm, soundOhm)
    this.#shuntOhm = event.toOhm
    this.#fallFromS = nowS
    this.#fallS = event.fallS
    this.#falling = event.fallS > 0
    return 0
  }

  #toggle(c: Contact, nowS: number): void {
    c.open = !c.open
    this.happenings.push({ kind: c.open ? c.event.kind : 'contact-closed', atS: nowS })
    if (c.event.kind === 'contact-open') c.dueS = Infinity
    else c.dueS = nowS + this.#gap(c.open ? c.event.meanOpenS : c.event.meanClosedS)
    if (c.event.kind === 'contact-open') this.#internallyOpen = true
    this.apart = this.#internallyOpen || this.#contacts.some(each => each.open)
  }

  #gap(meanS: number): number { return -meanS * Math.log(1 - this.#random.next()) }
}

/** A threshold counts as reached this close below it. */
const slack = (s: Stress): number => 1e-6 * s.thresholdV
