/** Marks, parts lists and policies: read or told in words, whatever stands in them. */
import { readFileSync } from 'node:fs'
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { packageFile } from '../../src/base/paths.ts'
import { printable } from '../../src/cli/table.ts'
import { markLines } from '../../src/cli/mark-text.ts'
import { readPartsText } from '../../src/cli/parts-file.ts'
import { partsLines, policyLines } from '../../src/cli/parts-text.ts'
import { decode } from '../../src/marks/decode.ts'
import { decide } from '../../src/parts/decide.ts'
import { partsList } from '../../src/schema/parts-list.ts'
import { partsPolicy } from '../../src/schema/parts-policy.ts'
import { invalidFile, parseText } from '../../src/schema/read-file.ts'
import { holds } from './holds.ts'
import { altered, anyJson, nasty, yamlPieces } from './texts.ts'

const listText = readFileSync(packageFile('profiles', 'lists', 'saltmarsh-pavilion.csv'), 'utf8')
const policyText = readFileSync(packageFile('profiles', 'policies', 'saltmarsh-pavilion.yaml'), 'utf8')
const marks = ['4k7 5% 0.25W', '0.01u/630V', '104K 2A', '2A474J', '0,01 µF 630 V', '0.47µF X1/Y2 275V~', '10uH', '100n X7R 50V', '22u -20/+80% 25V']

describe('what stands on parts and in lists of them', () => {
  it('a mark is read, or refused with a place in it', async () => {
    const inputs = fc.oneof({ arbitrary: altered(marks, fc.oneof(fc.constantFrom(...marks, 'K', '%', '±', ','), nasty(5))), weight: 6 }, { arbitrary: nasty(130), weight: 1 })
    await holds('marks', inputs, text => {
      const decoded = decode(text)
      for (const mark of decoded.ok ? [decoded.mark] : decoded.readings) expect(markLines(mark).map(printable).join('')).not.toMatch(/NaN|Infinity|undefined/)
      if (!decoded.ok) for (const { column } of decoded.problems) expect(column >= 1 && column <= text.length + 1).toBe(true)
    })
  })

  it('a parts list is read as far as it can be, and the rest told', async () => {
    const tabs = listText.replaceAll(',', '\t')
    const texts = altered([listText, listText.replaceAll(',', ';'), tabs, '200 x 4k7 5 %\n50 x 100n\n'], fc.oneof(fc.constantFrom(...marks, ',', '\t', '\n', '"', 'C1-C900'), nasty(8)))
    const inputs = fc.tuple(fc.constantFrom('x.csv', 'x.tsv', 'x.txt'), fc.oneof({ arbitrary: texts, weight: 6 }, { arbitrary: nasty(200), weight: 1 }))
    const parsed = parseText(partsPolicy, policyText, 'policy.yaml')
    if (!parsed.ok) throw invalidFile('policy.yaml', parsed.problems)
    await holds('parts lists', inputs, ([name, text]) => {
      const read = readPartsText(name, text)
      partsList.parse(read.list)
      expect(read.list.parts.length + read.problems.length).toBeGreaterThan(0)
      const decided = decide(read.list.parts, parsed.value)
      expect(decided.decisions.length).toBe(read.list.parts.reduce((sum, { designators }) => sum + Math.max(1, designators.length), 0))
      expect(partsLines(read).length + policyLines('p', decided, read.list.parts).length).toBeGreaterThan(2)
    })
  })

  it('a policy is read or refused, and one that is read decides or says why not', async () => {
    const { list: { parts } } = readPartsText('list.csv', listText)
    const inputs = fc.oneof({ arbitrary: altered([policyText], yamlPieces), weight: 6 }, { arbitrary: nasty(300), weight: 1 }, { arbitrary: anyJson.map(value => JSON.stringify(value) ?? ''), weight: 1 })
    await holds('policies', inputs, text => {
      const parsed = parseText(partsPolicy, text, 'policy.yaml')
      if (!parsed.ok) { expect(invalidFile('x', parsed.problems).message.length).toBeLessThan(100_000); return }
      for (const { action, conflicts, unsure } of decide(parts, parsed.value).decisions) expect(action === null).toBe(conflicts.length + unsure.length > 0)
    })
  })
})
