/** The ten-kelvin rule against printed figures. "read": in an encyclopaedia's or a maker's text; "second hand": in a forum, by the same rule. */
import { describe, expect, it } from 'vitest'
import { serviceLife } from '../../src/analysis/service-life.ts'

const at = (temperatureC: number, ratedH: number): number =>
  serviceLife({ ratedH, atC: 105, ratedV: 400 }, { temperatureC, volts: 400 })!.hours

describe('life by the ten-kelvin rule', () => {
  it.each<[source: string, ratedH: number, temperatureC: number, hours: number]>([
    ['2000 h at 105 °C, at 45 °C: 128,000 h (encyclopaedia on electrolytics, read)', 2000, 45, 128_000],
    ['2000 h at 105 °C, at 65 °C: 32,000 h (second hand)', 2000, 65, 32_000],
    ['1000 h at 105 °C, at 45 °C: 64,000 h (power-supply maker\'s note, read)', 1000, 45, 64_000],
    ['1000 h at 105 °C, at 55 °C: 32,000 h (power-supply maker\'s note, read)', 1000, 55, 32_000],
    ['1000 h at 105 °C, at 65 °C: 16,000 h (power-supply maker\'s note, read)', 1000, 65, 16_000],
  ])('%s', (_source, ratedH, temperatureC, hours) => { expect(at(temperatureC, ratedH)).toBeCloseTo(hours, 6) })

  it('a third of the time each at 45, 55 and 65 °C wears as 57.2 °C does (power-supply maker\'s note, read)', () => {
    const hours = 3 / [45, 55, 65].reduce((wear, temperatureC) => wear + 1 / at(temperatureC, 1000), 0)
    expect(105 - 10 * Math.log2(hours / 1000)).toBeCloseTo(57.2, 1)
  })
})
