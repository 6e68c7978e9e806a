/** An LCR bridge: series capacitance, ESR and D, each with the uncertainty that its impedance brings. */
import type { Measured, Quality } from '../schema/reading.ts'
import type { ProfileOf } from '../schema/instrument-profile.ts'
import type { Bridge, BridgeReading, ImpedanceMeasured } from '../schema/roles.ts'
import { BenchError } from '../base/errors.ts'
import { formatNumber } from '../scpi/values.ts'
import { checked, Driver } from './driver.ts'

type Profile = ProfileOf<'lcr-bridge'>
type Field = Profile['answer']['fields'][number]
interface Taken { c: number; esr: number; x: number; quality: Quality; atMs: number }

/** A bridge with one level serves a request for a level that is not further off than this factor. */
const fixedLevelFactor = 2

export class BridgeDriver extends Driver<Profile> implements Bridge {
  #setup: { frequencyHz: number; levelV: number } | null = null

  override async prepare(): Promise<void> {
    this.#setup = null
    await super.prepare()
    for (const { query, answer } of this.profile.commands.confirm) {
      const got = await this.port.query(query)
      if (got.toUpperCase() !== answer.toUpperCase()) throw this.notTaken(query, answer, got)
    }
  }

  get frequenciesHz(): Bridge['frequenciesHz'] {
    const { frequencies } = this.profile
    return 'listHz' in frequencies ? frequencies.listHz : frequencies
  }

  get levelsV(): Bridge['levelsV'] {
    const { levels } = this.profile
    return 'fixedV' in levels ? { minV: levels.fixedV, maxV: levels.fixedV } : levels
  }

  async measure(setup: { frequencyHz: number; levelV: number }): Promise<BridgeReading> {
    const { c, esr, x, quality, atMs } = await this.#take(setup)
    return { frequencyHz: setup.frequencyHz, ...this.#withUncertainty(c, esr, x, quality, atMs) }
  }

  async impedance(setup: { frequencyHz: number; levelV: number }): Promise<ImpedanceMeasured> {
    const { esr, x, quality, atMs } = await this.#take(setup)
    const { u, digit } = this.#accuracy(Math.hypot(esr, x))
    return {
      frequencyHz: setup.frequencyHz,
      rOhm: { value: esr, u: Math.hypot(u, digit * esr), quality, atMs },
      xOhm: { value: -x, u: Math.hypot(u, digit * x), quality, atMs },
    }
  }

  /** Series capacitance, and the resistance and capacitive reactance that come with it. */
  async #take(setup: { frequencyHz: number; levelV: number }): Promise<Taken> {
    this.#refuse(setup)
    const same = this.#setup?.frequencyHz === setup.frequencyHz && this.#setup.levelV === setup.levelV
    if (!same) {
      this.#setup = null
      await this.#set(setup)
      for (let i = 0; i < this.profile.discardAfterChange; i++) await this.#fetch()
      this.#setup = { ...setup }
    }
    const atMs = this.clock.monotonicMs()
    return this.#reading(await this.#fetch(), setup.frequencyHz, atMs)
  }

  #refuse(setup: { frequencyHz: number; levelV: number }): void {
    const { frequencies, levels } = this.profile
    if ('listHz' in frequencies) {
      if (!frequencies.listHz.includes(setup.frequencyHz)) {
        throw new BenchError('OUT_OF_RANGE', 'frequency', {
          instrument: this.name, expected: `one of ${frequencies.listHz.join(', ')} Hz`,
          got: `${setup.frequencyHz} Hz`,
        })
      }
    } else this.inRange('frequency', setup.frequencyHz, frequencies.minHz, frequencies.maxHz, 'Hz')
    if ('fixedV' in levels) {
      const { fixedV } = levels
      this.inRange('level', setup.levelV, fixedV / fixedLevelFactor, fixedV * fixedLevelFactor, 'V')
    } else this.inRange('level', setup.levelV, levels.minV, levels.maxV, 'V')
  }

  async #set(setup: { frequencyHz: number; levelV: number }): Promise<void> {
    const { commands: c } = this.profile
    const { frequencyHz, levelV } = setup
    await this.setNumber(c.setFrequency, formatNumber(frequencyHz), c.askFrequency, frequencyHz * 1e-4, 'Hz')
    if (c.setLevel) await this.setNumber(c.setLevel, formatNumber(levelV), c.askLevel, levelV * 0.01, 'V')
  }

  async #fetch(): Promise<Map<Field, string>> {
    const { commands: c, measureMs, link, answer: { fields } } = this.profile
    if (c.trigger) await this.port.write(c.trigger, checked)
    const line = await this.port.query(c.fetch, { deadlineMs: 2 * measureMs + link.deadlineMs })
    const parts = line.split(',')
    if (parts.length !== fields.length) {
      throw new BenchError('ANSWER_FORM', 'not a measurement', {
        instrument: this.name, command: c.fetch, got: line,
        expected: `${fields.length} fields (${fields.join(', ')})`,
      })
    }
    return new Map(fields.map((field, i) => [field, parts[i]!.trim()]))
  }

  #reading(fields: Map<Field, string>, frequencyHz: number, atMs: number): Taken {
    const bad = this.#badStatus(fields.get('status'))
    const omega = 2 * Math.PI * frequencyHz
    const number = (field: 'cs' | 'rs' | 'd'): [number, Quality] => {
      const { value, quality } = this.answers.read(this.profile.commands.fetch, fields.get(field)!)
      const worst = bad ?? quality
      return [worst === 'good' ? value : Number.NaN, worst]
    }
    const [capacitance, cQuality] = number('cs')
    const x = 1 / (omega * capacitance)
    const [second, sQuality] = fields.has('rs') ? number('rs') : number('d')
    const esr = fields.has('rs') ? second : second * x
    return { c: capacitance, esr, x, quality: cQuality !== 'good' ? cQuality : sQuality, atMs }
  }

  /**
   * Standard uncertainty of an impedance of size `z` in any direction, ohms, and of its last digit, relative.
   */
  #accuracy(z: number): { u: number; digit: number } {
    const { accuracy: { basicPct, zsOhm, yoS }, digits } = this.profile
    const u = z * basicPct / 100 * (1 + zsOhm / z + z * yoS) / Math.sqrt(3)
    return { u, digit: 10 ** (1 - digits) / Math.sqrt(12) }
  }

  /** `null` when the status field says that the numbers may be looked at. */
  #badStatus(text: string | undefined): Quality | null {
    if (text === undefined) return null
    const status = this.answers.plainNumber(this.profile.commands.fetch, text)
    const { statusGood, statusMissing, statusOverload } = this.profile.answer
    if (statusGood.includes(status)) return null
    if (statusMissing.includes(status)) return 'missing'
    return statusOverload.includes(status) ? 'over-range' : 'implausible'
  }

  /**
   * The impedance vector is known to A·|Z| in any direction: so are Rs and X, C relatively to A·√(1+D²), and
   * D to A·(1+D²). A = basic·(1 + |Zs/Z| + |Z·Yo|) and, as a data sheet's limit, rectangular.
   */
  #withUncertainty(
    c: number, esr: number, x: number, quality: Quality, atMs: number,
  ): Omit<BridgeReading, 'frequencyHz'> {
    const z = Math.hypot(esr, x)
    const { u, digit } = this.#accuracy(z)
    const a = u / z
    const d = esr / x
    const d2 = 1 + d * d
    const uEsr = Math.hypot(u, digit * esr)
    const uD = Math.hypot(a * d2, digit * d)
    const told = (value: number, u: number, possible: boolean): Measured =>
      ({ value, u, quality: quality === 'good' && !possible ? 'implausible' : quality, atMs })
    return {
      capacitance: told(c, Math.abs(c) * Math.hypot(a * Math.sqrt(d2), digit), c > 0),
      // A loss below zero by more than the error admits is no loss: leads or guard are wrong.
      esr: told(esr, uEsr, c > 0 && esr > -3 * uEsr),
      dissipation: told(d, uD, c > 0 && d > -3 * uD),
    }
  }
}
