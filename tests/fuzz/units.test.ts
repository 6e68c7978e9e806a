/** Unit profiles and claims: read or told in words, whatever stands in them; what is read can be written and judged. */
import { readdirSync, readFileSync } from 'node:fs'
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { packageFile } from '../../src/base/paths.ts'
import { readClaim, type Rating } from '../../src/claims/read.ts'
import { claimsOf, judgeUnit, parseUnitProfile } from '../../src/claims/unit-file.ts'
import { claimWords } from '../../src/claims/words.ts'
import { unitProfileLines } from '../../src/cli/claim-text.ts'
import { claim } from '../../src/schema/claims.ts'
import { figureUnits, type Figure } from '../../src/schema/figure.ts'
import { invalidFile } from '../../src/schema/read-file.ts'
import { holds } from './holds.ts'
import { altered, anyJson, nasty, yamlPieces } from './texts.ts'

const texts = readdirSync(packageFile('profiles', 'units')).map(name => readFileSync(packageFile('profiles', 'units', name), 'utf8'))
const printed = [
  '40 W into a 100 V line, at or under 2 %, 80 Hz to 12 kHz', '2 x 25 W into 8 ohms, both channels driven, 0.5 % THD, 20 Hz - 20 kHz', 'less than 0.1 % THD+N at 1 W, 1 kHz',
  '20 Hz to 20 kHz +0.5 / -1 dB', 'signal to noise better than 80 dB A-weighted, input terminated in 600 ohms', 'hum and noise -70 dB below rated output', 'hum -60 dB below 40 W into 8 Ω',
  'IM distortion (60 Hz / 7 kHz, 4:1) under 1 % at rated power', 'gain 34 dB ± 1 dB, channel left', 'RIAA within ± 0.5 dB, 40 Hz to 15 kHz', 'power bandwidth 30 Hz to 15 kHz at 1 %', 'recovers from 10 dB of overload within 10 ms',
]
const words = fc.constantFrom(
  ...printed, 'music power', 'any load', 'dBm', '±', '%', '/', '1,000', '1e400', '0', '-0', ' to ', ' at ', ' x ', ':', '"', 'channel ', 'reference "x"', '99999999999999999', '0.00000000000000000001', 'rated output', 'input shorted', '468', 'points', '-3 dB',
)
const ratings: Rating[] = [{ name: 'left', ratedW: 40, loadOhm: 250, sourceOhm: 600 }, { name: 'right', ratedW: 10, loadOhm: 15, sourceOhm: 0 }]

describe('what units claim', () => {
  it('a claim in words is read, or refused with a place in it; what is read is a claim and reads back', async () => {
    const inputs = fc.tuple(fc.boolean(), fc.oneof({ arbitrary: altered(printed, fc.oneof(words, nasty(6))), weight: 6 }, { arbitrary: fc.array(words, { maxLength: 6 }).map(all => all.join(' ')), weight: 2 }, { arbitrary: nasty(200), weight: 1 }))
    await holds('claims in words', inputs, ([isKnown, text]) => {
      const read = readClaim(text, isKnown ? ratings : [])
      if (!read.ok) {
        expect(read.problems.length).toBeGreaterThan(0)
        for (const { column } of read.problems) expect(column >= 1 && column <= text.length + 1).toBe(true)
        return
      }
      for (const one of read.claims) {
        expect(claim.parse(one)).toEqual(one)
        const said = claimWords(one)
        expect(said).not.toMatch(/NaN|Infinity|undefined/)
        const again = readClaim(said)
        if (said.length <= 600) expect(again, said).toMatchObject({ ok: true, claims: [one] })
      }
    })
  })

  it('a unit profile is read or refused, and one that is read can be shown and judged', async () => {
    const inputs = fc.oneof({ arbitrary: altered(texts, fc.oneof(yamlPieces, words)), weight: 6 }, { arbitrary: nasty(300), weight: 1 }, { arbitrary: anyJson.map(value => JSON.stringify(value) ?? ''), weight: 1 })
    await holds('unit profiles', inputs, text => {
      const parsed = parseUnitProfile(text, 'unit.yaml')
      expect(Object.keys(Object.prototype)).toEqual([])
      if (!parsed.ok) {
        expect(parsed.problems.length).toBeGreaterThan(0)
        expect(invalidFile('x', parsed.problems).message.length).toBeLessThan(100_000)
        return
      }
      const stated = claimsOf(parsed.value)
      expect(unitProfileLines(parsed.value, stated).join('')).not.toMatch(/NaN|undefined/)
      const figures = stated.flatMap(({ claims }) => claims).map(({ quantity, least, most, conditions }): Figure =>
        ({ quantity, channel: parsed.value.channels[0]!.name, unit: figureUnits[quantity], value: (least ?? most)!, u: 1e-3, conditions, notes: [] }))
      for (const { end, reason } of judgeUnit(parsed.value, figures)) {
        expect(['met', 'not met', 'cannot be told']).toContain(end)
        expect(reason).not.toMatch(/undefined/)
      }
    })
  })
})
