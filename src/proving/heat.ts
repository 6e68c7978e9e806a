/**
 * What a load may still take. It bears its continuous watts for ever, and above them a store of
 * (peak watts − continuous watts)·peak seconds fills; below them it empties as fast as watts are missing.
 */
import type { Clock } from '../base/clock.ts'

export interface HeatRating { readonly continuousW: number; readonly peakW: number; readonly peakS: number }

export class Heat {
  readonly #clock: Clock
  readonly #rating: HeatRating
  #overJ = 0
  #atMs: number

  constructor(clock: Clock, rating: HeatRating) {
    this.#clock = clock
    this.#rating = rating
    this.#atMs = clock.monotonicMs()
  }

  get #roomJ(): number {
    const { continuousW, peakW, peakS } = this.#rating
    return Math.max(0, peakW - continuousW) * peakS
  }

  /** Nothing was driven since the last account. */
  #cool(): void {
    const nowMs = this.#clock.monotonicMs()
    this.#overJ = Math.max(0, this.#overJ - this.#rating.continuousW * (nowMs - this.#atMs) / 1000)
    this.#atMs = nowMs
  }

  /** For how long so many watts may go on from now, s; 0 above the peak rating. */
  mayS(watts: number): number {
    this.#cool()
    const { continuousW, peakW } = this.#rating
    if (watts <= continuousW) return Infinity
    return watts > peakW ? 0 : Math.max(0, this.#roomJ - this.#overJ) / (watts - continuousW)
  }

  /** Rest before so many watts may go on for `forS`, s; Infinity where they never may. */
  restS(watts: number, forS: number): number {
    if (this.mayS(watts) >= forS) return 0
    const { continuousW, peakW } = this.#rating
    const roomJ = this.#roomJ - (watts - continuousW) * forS
    return watts > peakW || roomJ < 0 ? Infinity : (this.#overJ - roomJ) / continuousW
  }

  /** So many watts went on for the `seconds` up to now. */
  took(watts: number, seconds: number): void {
    this.#atMs = this.#clock.monotonicMs()
    this.#overJ = Math.max(0, this.#overJ + (watts - this.#rating.continuousW) * seconds)
  }
}
