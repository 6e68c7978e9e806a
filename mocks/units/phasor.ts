/** A complex number that is worked on in place, for chains of transfer functions without garbage. */
export class Phasor {
  re = 1
  im = 0

  set(re: number, im = 0): this {
    this.re = re
    this.im = im
    return this
  }

  scale(factor: number): this {
    this.re *= factor
    this.im *= factor
    return this
  }

  times(re: number, im: number): this {
    const r = this.re * re - this.im * im
    this.im = this.re * im + this.im * re
    this.re = r
    return this
  }

  over(re: number, im: number): this {
    const square = re * re + im * im
    const r = (this.re * re + this.im * im) / square
    this.im = (this.im * re - this.re * im) / square
    this.re = r
    return this
  }

  /** Times 1/(1 + j·f/corner). */
  lowPass(hz: number, cornerHz: number): this { return this.over(1, hz / cornerHz) }

  /** Times (j·f/corner)/(1 + j·f/corner); a corner of 0 lets all through. */
  highPass(hz: number, cornerHz: number): this {
    return cornerHz === 0 ? this : this.times(0, hz / cornerHz).over(1, hz / cornerHz)
  }

  get size(): number { return Math.hypot(this.re, this.im) }
}

/** A transfer function: multiplies `through` by what it does at `hz` (0 or more). */
export type Transfer = (hz: number, through: Phasor) => Phasor
