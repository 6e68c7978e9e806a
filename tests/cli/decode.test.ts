import { beforeEach, describe, expect, it } from 'vitest'
import { RealClock } from '../../src/base/clock.ts'
import { realContext } from '../../src/cli/context.ts'
import { runCli } from '../../src/cli/run-cli.ts'

let said: string
let complained: string
const run = async (...argv: string[]): Promise<number> => await runCli(argv, {
  ...realContext('ida'), clock: new RealClock(), env: {},
  out: { write: (text: string) => { said += text } }, err: { write: (text: string) => { complained += text } },
})
beforeEach(() => { said = ''; complained = '' })

describe('decode', () => {
  it('says value, tolerance with its limits, ratings, series and rule', async () => {
    expect(await run('decode', '104K', '2A')).toBe(0)
    expect(said.split('\n').slice(0, 4)).toEqual([
      'capacitor 100 nF, written 100n', 'tolerance ±10 %: 90.00 nF to 110.0 nF', 'rated 100 V', 'in E3, E6, E12, E24, E48, E96, E192',
    ])
    expect(said).toContain('rule: two figures and a power of ten')
  })
  it('says where a value is in no series of its tolerance', async () => {
    expect(await run('decode', '4.6k 5%')).toBe(0)
    expect(said).toContain('4.60 kΩ is not in E24; nearest 4.70 kΩ')
  })
  it('shows all figures a value has', async () => {
    expect(await run('decode', '59K04')).toBe(0)
    expect(said).toContain('resistor 59.04 kΩ, written 59k04')
  })
  it('says the limits of a transistor, and what is not understood of them', async () => {
    expect(await run('decode', 'hFE', '110-220', '@', '2 mA')).toBe(0)
    expect(said.split('\n')[0]).toBe('gain 110 to 220 at 2.00 mA')
    said = ''
    expect(await run('decode', 'VGS(off) -1..-4 V')).toBe(0)
    expect(said).toContain('cut-off voltage 1.00 V to 4.00 V\nnote: below 0')
    said = ''
    expect(await run('decode', 'IDSS 2-6 mA', '--json')).toBe(0)
    expect(JSON.parse(said)).toEqual({ ok: true, limits: [{ of: 'drain current', low: 2e-3, high: 6e-3 }] })
    expect(await run('decode', 'hEF 110-220')).toBe(2)
    expect(complained).toContain('column 1: expected a limit: did you mean hFE?, got "hEF"')
  })
  it('reads bands, and tells what else they may be', async () => {
    expect(await run('decode', '--bands', 'yellow,violet,red,gold')).toBe(0)
    expect(said).toContain('resistor 4.70 kΩ, written 4k7\ntolerance ±5 %')
    said = ''
    expect(await run('decode', '--bands', 'brown black black gold brown')).toBe(0)
    expect(said).toContain('or: 10.0 Ω, ±5 % (four bands and a fifth')
  })
  it('shows every reading of what is not decided, and ends with 1', async () => {
    expect(await run('decode', '103')).toBe(1)
    expect(said).toContain('This can be read in 3 ways: expected the sort of part')
    for (const value of ['10.0 kΩ', '10.0 nF', '10.0 mH']) expect(said).toContain(value)
    said = ''
    expect(await run('decode', '103', '--kind', 'resistor')).toBe(0)
    expect(said).toContain('resistor 10.0 kΩ')
  })
  it('answers as JSON with the same', async () => {
    expect(await run('decode', '2A474J', '--json')).toBe(0)
    expect(JSON.parse(said)).toMatchObject({ ok: true, mark: { value: 0.47e-6, unit: 'F', ratedV: 100, toleranceMinus: 0.05 } })
    said = ''
    expect(await run('decode', '4.7', '--json', '--kind', 'resistor')).toBe(1)
    expect(JSON.parse(said)).toMatchObject({ ok: false, readings: [{ value: 4.7 }], problems: [{ column: 1 }] })
  })
  it.each([
    [['decode', 'foo'], 'column 1: expected a value'], [['decode', '--bands', 'red,pale,blau'], 'band 2: expected one of black'],
    [['decode'], 'expected a text or --bands, got neither'], [['decode', '4k7', '--bands', 'red'], 'got both'],
    [['decode', '4k7', '--kind', 'valve'], 'resistor, capacitor, inductor'], [['decode', '4k7', '--dielectric', 'film'], 'expected --bands'],
    [['decode', '--bands', 'red', '--dielectric', 'mica'], 'film, tantalum'],
  ])('%o ends with 2', async (argv, words) => {
    expect(await run(...argv)).toBe(2)
    expect(complained).toContain(words)
    expect(said).toBe('')
  })
  it('tells what is wrong as JSON too', async () => {
    expect(await run('decode', '4k7 bar', '--json')).toBe(2)
    expect(JSON.parse(said)).toMatchObject({ error: { code: 'USAGE', context: { problems: [{ column: 5, got: '"bar"' }] } } })
  })
})
