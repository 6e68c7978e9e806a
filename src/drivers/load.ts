/** A bank of load resistors. Each change is waited for and read back. */
import { sleep } from '../base/clock.ts'
import { BenchError } from '../base/errors.ts'
import type { ProfileOf } from '../schema/instrument-profile.ts'
import type { Load } from '../schema/unit-roles.ts'
import { formatNumber } from '../scpi/values.ts'
import { fill } from './format.ts'
import { checked, Driver } from './driver.ts'
import { refuseUnknown } from './answers.ts'

type Profile = ProfileOf<'load-bank'>
type Step = Profile['steps'][number]

/** Of the printed value of a step: what is asked for and what reads back is the same resistor. */
const sameWithin = 0.01

export class LoadDriver extends Driver<Profile> implements Load {
  get channels(): readonly number[] { return this.profile.channels }
  get stepsOhm(): readonly number[] { return this.profile.steps.map(step => step.ohm) }
  get continuousW(): number { return this.profile.continuousW }
  get peakW(): number { return this.profile.peakW }
  get peakS(): number { return this.profile.peakS }
  get settleMs(): number { return this.profile.settleMs }

  stepU(ohm: number): number {
    const { accuracyPct } = this.#stepOf(ohm)
    return ohm * accuracyPct / 100 / Math.sqrt(3)
  }

  async connect(channel: number, ohm: number | null): Promise<void> {
    const { commands: { connect, open }, settleMs } = this.profile
    refuseUnknown(this.name, this.channels, channel)
    const step = ohm === null ? null : this.#stepOf(ohm)
    const values = { channel: String(channel) }
    const command = step === null ? fill(open, values)
      : fill(connect, { ...values, value: formatNumber(step.ohm) })
    await this.port.write(command, checked)
    await sleep(this.clock, settleMs)
    const took = await this.connected(channel)
    if (took === (step?.ohm ?? null)) return
    throw this.notTaken(command, wordOf(step?.ohm ?? null), wordOf(took))
  }

  async connected(channel: number): Promise<number | null> {
    refuseUnknown(this.name, this.channels, channel)
    const query = fill(this.profile.commands.askConnected, { channel: String(channel) })
    const answer = await this.port.query(query)
    if (answer.toUpperCase() === this.profile.readsOpen.toUpperCase()) return null
    const ohm = this.answers.plainNumber(query, answer, 'Ohm')
    // As the profile prints it, so that callers can compare; what is no step is given as it was read.
    return this.profile.steps.find(step => isSame(step.ohm, ohm))?.ohm ?? ohm
  }

  #stepOf(ohm: number): Step {
    const found = this.profile.steps.find(step => isSame(step.ohm, ohm))
    if (found) return found
    throw new BenchError('OUT_OF_RANGE', 'load', {
      instrument: this.name, expected: `${this.stepsOhm.join(' or ')} Ohm`, got: `${ohm} Ohm`,
    })
  }
}

const isSame = (one: number, other: number): boolean => Math.abs(other - one) <= sameWithin * one
const wordOf = (ohm: number | null): string => ohm === null ? 'open' : `${ohm} Ohm`
