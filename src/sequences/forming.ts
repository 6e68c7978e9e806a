/**
 * Judges one part on one step of its forming. Pure: readings in, a verdict out. A part may go on when its
 * current is under the limit AND settled; one that is still improving is never condemned for being slow.
 */
import { classifyTrend, improving } from '../analysis/trend.ts'

export interface FormingRules {
  limitA: number
  minStepS: number; maxStepS: number; stallAfterS: number
  settledShare: number
}

export type FormingVerdict =
  | { kind: 'dwell'; why: string }
  | { kind: 'ready' }
  | { kind: 'overdue'; improving: boolean; why: string }
  | { kind: 'stalled'; why: string }
  | { kind: 'runaway'; why: string }
  | { kind: 'unreadable'; why: string }

const windowS = 600
const sampleEveryS = 10
const samplesMost = 200

/** Another night is worth it to a part whose current would fall by this share in it (modelling choice). */
const nightFall = 0.1
const nightS = 8 * 3600

/** Noise above this share of the limit cannot be judged. */
const noiseShareMost = 1 / 3

export class FormingStep {
  readonly startedS: number
  #tS: number[] = []
  #amps: number[] = []
  #noiseA: number[] = []
  #risingWindows = 0
  #risingCheckedS: number

  constructor(startedS: number) {
    this.startedS = startedS
    this.#risingCheckedS = startedS
  }

  /**
   * Adds a reading; `noiseA` is the random part of its standard uncertainty. Readings
   * closer than 10 s are thinned.
   */
  add(tS: number, amps: number, noiseA: number): void {
    const last = this.#tS[this.#tS.length - 1]
    if (last !== undefined && tS - last < sampleEveryS) return
    this.#tS.push(tS)
    this.#amps.push(amps)
    this.#noiseA.push(Math.max(noiseA, 1e-12))
    if (this.#tS.length > samplesMost) this.#thin()
  }

  get latestA(): number | undefined { return this.#amps[this.#amps.length - 1] }

  judge(nowS: number, rules: FormingRules): FormingVerdict {
    const elapsedS = nowS - this.startedS
    const latest = this.latestA
    if (latest === undefined || elapsedS < rules.minStepS) return { kind: 'dwell', why: 'shortest stay' }
    const window = this.#window(nowS, windowS)
    const noise = window.u.reduce((sum, u) => sum + u, 0) / window.u.length
    if (noise >= noiseShareMost * rules.limitA) {
      return { kind: 'unreadable', why: 'the noise of a reading exceeds a third of the limit' }
    }
    const trend = classifyTrend(window, { absoluteBandPerS: (rules.settledShare * rules.limitA) / windowS })
    if (this.#countRising(nowS, trend.verdict)) {
      return { kind: 'runaway', why: 'the current rose in three windows in a row at constant voltage' }
    }
    if (latest < rules.limitA && (trend.verdict === 'settled' || trend.verdict === 'falling')) {
      return { kind: 'ready' }
    }
    return latest < rules.limitA ? this.#unsettled(elapsedS, rules) : this.#over(nowS, elapsedS, rules)
  }

  #unsettled(elapsedS: number, rules: FormingRules): FormingVerdict {
    if (elapsedS < rules.maxStepS) return { kind: 'dwell', why: 'not settled' }
    return { kind: 'overdue', improving: true, why: 'under its limit but never settled' }
  }

  #over(nowS: number, elapsedS: number, rules: FormingRules): FormingVerdict {
    if (elapsedS < rules.stallAfterS) return { kind: 'dwell', why: 'over its limit' }
    const answer = improving(this.#window(nowS, Math.max(3 * windowS, elapsedS / 2)), {
      materialFall: nightFall, overS: nightS,
    })
    if (answer.verdict === 'no') return { kind: 'stalled', why: 'over its limit and no longer improving' }
    if (elapsedS < rules.maxStepS) return { kind: 'dwell', why: 'over its limit, improving' }
    return {
      kind: 'overdue', improving: answer.verdict === 'yes', why: 'over its limit after the longest stay',
    }
  }

  /** True when three windows one after another rose. */
  #countRising(nowS: number, verdict: string): boolean {
    if (nowS - this.#risingCheckedS < windowS) return false
    this.#risingCheckedS = nowS
    this.#risingWindows = verdict === 'rising' ? this.#risingWindows + 1 : 0
    return this.#risingWindows >= 3
  }

  #window(nowS: number, lengthS: number): { tS: number[]; y: number[]; u: number[] } {
    const from = this.#tS.findIndex(tS => tS >= nowS - lengthS && tS > this.startedS)
    const start = from < 0 ? Math.max(0, this.#tS.length - 5) : from
    return {
      tS: this.#tS.slice(start).map(tS => tS - this.startedS), y: this.#amps.slice(start),
      u: this.#noiseA.slice(start),
    }
  }

  /** Halves what is older than the newest hundred readings. */
  #thin(): void {
    const keep = this.#tS.map((_, i) => i >= samplesMost / 2 || i % 2 === 0)
    this.#tS = this.#tS.filter((_, i) => keep[i])
    this.#amps = this.#amps.filter((_, i) => keep[i])
    this.#noiseA = this.#noiseA.filter((_, i) => keep[i])
  }
}
