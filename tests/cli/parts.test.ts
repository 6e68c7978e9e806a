import { mkdtempSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterAll, beforeAll, beforeEach, describe, expect, it } from 'vitest'
import { RealClock } from '../../src/base/clock.ts'
import { packageFile } from '../../src/base/paths.ts'
import { realContext } from '../../src/cli/context.ts'
import { ranges } from '../../src/cli/parts-text.ts'
import { runCli } from '../../src/cli/run-cli.ts'

let folder: string
let said: string
let complained: string
beforeAll(() => { folder = mkdtempSync(join(tmpdir(), 'parts-')) })
afterAll(() => rmSync(folder, { recursive: true }))
beforeEach(() => { said = ''; complained = '' })
const run = async (...argv: string[]): Promise<number> => await runCli(argv, {
  ...realContext('ida'), clock: new RealClock(), env: {},
  out: { write: (text: string) => { said += text } }, err: { write: (text: string) => { complained += text } },
})
const file = (name: string, text: string): string => {
  writeFileSync(join(folder, name), text)
  return join(folder, name)
}
const shippedList = packageFile('profiles', 'lists', 'saltmarsh-pavilion.csv')
const shippedPolicy = packageFile('profiles', 'policies', 'saltmarsh-pavilion.yaml')

describe('parts', () => {
  it('shows what was understood and what a policy says, and ends with 0', async () => {
    expect(await run('parts', shippedList, '--policy', shippedPolicy)).toBe(0)
    expect(said).toContain('61 parts in 21 lines understood')
    expect(said).toMatch(/C1-C4, C7 +5 +capacitor +50µ +-20 % \+50 % +350 V, electrolytic/)
    expect(said).toMatch(/^C101 +replace-and-prove-new with class-x +waxed-paper-goes, across-the-mains/m)
    expect(said).not.toContain('Not understood')
  })
  it('shows limits that the list states of transistors', async () => {
    expect(await run('parts', file('gain.csv', 'ref,kind,value,rating,note\nQ1,npn,BC109,45 V,hFE 200-450 @ 2 mA\n'))).toBe(0)
    expect(said).toMatch(/Q1 +1 +npn +BC109 +– +45 V, gain 200 to 450 at 2.00 mA/)
  })
  it('lists what could not be read with its place, after what could, and ends with 2', async () => {
    expect(await run('parts', file('bad.csv', 'ref,value\nR1,470\nR2,4k7\n'))).toBe(2)
    expect(said).toMatch(/R2 +1 +resistor\? +4k7/)
    expect(said).toContain('Not understood (1; line:column):\n  2:4 value: expected a value that can be read in one way, not in 2 (470R or 47R), got "470"')
  })
  it('ends with 1 where a policy leaves a part open', async () => {
    expect(await run('parts', file('open.csv', 'ref,value\nC9,10u\n'), '--policy', shippedPolicy)).toBe(1)
    expect(said).toMatch(/^C9 +OPEN +– +electrolytics-go needs its dielectric; waxed/m)
  })
  it('shows conflicts of rules', async () => {
    const policy = file('clash.yaml', 'policy: clash\nrules:\n  - { name: a, match: { kind: resistor }, action: leave, reason: one }\n'
      + '  - { name: b, match: { designators: R1 }, action: replace, reason: other }\notherwise: { action: prove, reason: rest }\n')
    expect(await run('parts', file('clash.csv', 'ref,value\nR1-R2,4k7\n'), '--policy', policy)).toBe(1)
    expect(said).toMatch(/^R1 +CONFLICT .*a: leave; b: replace$/m)
    expect(said).toMatch(/^R2 +leave +a +one$/m)
  })
  it('answers as JSON with all of it', async () => {
    expect(await run('parts', file('open.csv', 'ref,value\nC1,10u 5 %\nR1,x\n'), '--policy', shippedPolicy, '--json')).toBe(2)
    expect(JSON.parse(said)).toMatchObject({
      parts: [{ designators: ['C1'], value: { si: 1e-5 }, toleranceMinus: 0.05 }, { designators: ['R1'], value: null }],
      problems: [{ line: 3, column: 4, path: 'value' }], policy: { name: 'saltmarsh-pavilion', decisions: [{ designator: 'C1', action: null }, { designator: 'R1', action: 'prove' }] },
    })
    said = ''
    expect(await run('parts', file('reel.txt', '200 x 4k7 5 %'), '--json')).toBe(0)
    expect(JSON.parse(said)).toMatchObject({ parts: [{ quantity: 200, kind: 'resistor' }], problems: [], policy: null })
  })
  it('ends with 2 for a file that is not there, or a policy that is wrong', async () => {
    expect(await run('parts', join(folder, 'none.csv'))).toBe(2)
    expect(await run('parts', shippedList, '--policy', file('bad.yaml', 'policy: x\n'))).toBe(2)
    expect(complained).toContain('rules')
    expect(await run('parts')).toBe(2)
  })
  it('shows nothing that would move the cursor', async () => {
    expect(await run('parts', file('odd.csv', 'ref,kind,value\nU1,ic,\u001b[2Jx\n'))).toBe(0)
    expect(said).not.toContain('\u001b')
  })
})

describe('designators of one kind', () => {
  it.each([['C1 C2 C3 C5', 'C1-C3, C5'], ['C1 C2', 'C1, C2'], ['R9 R10 R11', 'R9-R11'], ['C3 R4 R5', 'C3, R4, R5'], ['C5A C5B', 'C5A, C5B'], ['', '']])('%s', (names, text) => {
    expect(ranges(names.split(' ').filter(Boolean))).toBe(text)
  })
})
