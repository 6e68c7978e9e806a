/** A thermometer with many channels. */
import type { Clock } from '../base/clock.ts'
import type { ProfileOf } from '../schema/instrument-profile.ts'
import type { Measured } from '../schema/reading.ts'
import type { Thermometer } from '../schema/roles.ts'
import type { ScpiPort } from '../scpi/port.ts'
import { Driver } from './driver.ts'
import { fill } from './format.ts'
import { Scale } from './scale.ts'
import { refuseChannel } from './scanner.ts'

type Profile = ProfileOf<'thermometer'>

export class ThermometerDriver extends Driver<Profile> implements Thermometer {
  readonly stepK: number
  readonly noiseK: number
  readonly #scale: Scale
  readonly #queries = new Map<number, string>()
  readonly #deadline: { deadlineMs: number }

  constructor(profile: Profile, port: ScpiPort, clock: Clock) {
    super(profile, port, clock)
    const { accuracy: { readingPct, offsetK }, stepK, noiseK, minC, maxC, readMs, link } = profile
    this.stepK = stepK
    this.noiseK = noiseK
    // The offset is absolute: one per cent of a range of a hundred times it.
    this.#scale = new Scale({
      unit: 'Cel', accuracy: { readingPct, rangePct: 1, counts: 0 }, range: 100 * offsetK,
      digit: stepK, noise: noiseK, lowest: minC, highest: maxC,
    })
    this.#deadline = { deadlineMs: readMs + link.deadlineMs }
  }

  async readTemperature(channel: number): Promise<Measured> {
    let query = this.#queries.get(channel)
    if (query === undefined) {
      refuseChannel(this.name, this.profile.channels, channel)
      query = fill(this.profile.commands.ask, { channel: String(channel) })
      this.#queries.set(channel, query)
    }
    const atMs = this.clock.monotonicMs()
    return this.answers.measured(query, await this.port.query(query, this.#deadline), atMs, this.#scale)
  }
}
