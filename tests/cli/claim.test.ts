import { beforeEach, describe, expect, it } from 'vitest'
import { RealClock } from '../../src/base/clock.ts'
import { packageFile } from '../../src/base/paths.ts'
import { realContext } from '../../src/cli/context.ts'
import { runCli } from '../../src/cli/run-cli.ts'

let said: string
let complained: string
const run = async (...argv: string[]): Promise<number> => await runCli(argv, {
  ...realContext('ida'), clock: new RealClock(), env: {},
  out: { write: (text: string) => { said += text } }, err: { write: (text: string) => { complained += text } },
})
beforeEach(() => { said = ''; complained = '' })
const amplifier = packageFile('profiles', 'units', 'saltmarsh-pavilion-amplifier.yaml')

describe('claim', () => {
  it('says what it means, and what is assumed', async () => {
    expect(await run('claim', '40', 'W', 'into', 'a', '100', 'V', 'line', 'at 2 %')).toBe(0)
    expect(said.split('\n')).toEqual([
      'output power at least 40 W, at 2 % THD, at 1 kHz, into 250 Ω', 'assumed: distortion: harmonic (THD), as nothing else is printed',
      'assumed: frequency: 1 kHz, as none is printed', 'assumed: a 100 V line at 40 W is a load of 250 Ω', '',
    ])
  })
  it('knows the unit that it is told', async () => {
    expect(await run('claim', 'THD under 1 % at rated output, 1 kHz', '--unit', amplifier)).toBe(0)
    expect(said).toContain('THD at most 1 %, at 1 kHz, at 40 W, into 250 Ω\n')
    expect(said).toContain('assumed: rated output; that is 40 W')
    expect(await run('claim', 'THD under 1 %', '--unit', 'nowhere.yaml')).toBe(2)
  })
  it('answers as JSON with the same', async () => {
    expect(await run('claim', 'power bandwidth 30 Hz to 15 kHz at 1 %', '--json', '--unit', amplifier)).toBe(0)
    expect(JSON.parse(said)).toMatchObject({
      claims: [{ claim: { quantity: 'power bandwidth low', most: 30 } }, { claim: { quantity: 'power bandwidth high', least: 15e3 } }],
      assumed: [expect.stringContaining('THD'), expect.stringContaining('half of rated output'), expect.stringContaining('load')],
    })
  })
  it('that cannot be read ends with 2, and tells reason, place and what was understood', async () => {
    expect(await run('claim', '40 W music power into 8 ohms')).toBe(2)
    expect(complained).toContain('column 6: expected power of a sine that lasts')
    expect(complained).toContain('understood: 40 W | into 8 ohms')
    expect(said).toBe('')
    expect(await run('claim', '40 W into 8 ohms')).toBe(2)
    expect(complained).toContain('missing: the distortion up to which it counts')
    expect(await run('claim', 'noise -80 dB', '--json')).toBe(2)
    expect(JSON.parse(said)).toMatchObject({ error: { code: 'USAGE', context: { problems: [{ column: 1 }] } } })
  })
})

describe('unit-profile', () => {
  it('shows channels, stages, limits with their sources, and every claim as understood', async () => {
    expect(await run('unit-profile', amplifier)).toBe(0)
    for (const words of [
      'bandstand  40.0 W  250 Ω  line-transformer', '1 supply', 'DC at tea-room', 'common practice', 'sheet of the unit, 1974', 'within 5 % of minus',
      '40 W into a 100 V line, at or under 2 %, 80 Hz to 12 kHz, both channels driven\n  output power at least 40 W, at 2 % THD, 80 Hz to 12 kHz, into 250 Ω, all channels driven\n  assumed: distortion',
      'channel balance ± 1 dB, at 1 kHz',
    ]) expect(said).toContain(words)
    expect(said).not.toMatch(/undefined|NaN/)
  })
  it('answers as JSON', async () => {
    expect(await run('unit-profile', packageFile('profiles', 'units', 'saltmarsh-pavilion-monitor.yaml'), '--json')).toBe(0)
    const { profile, claims } = JSON.parse(said) as { profile: { unit: string }; claims: { words: string; canonical: string[] }[] }
    expect(profile.unit).toBe('saltmarsh-pavilion-monitor')
    expect(claims[0]).toMatchObject({ words: '8 watts into 15 ohms at 3 % distortion, 1 kHz', canonical: ['output power at least 8 W, at 3 % THD, at 1 kHz, into 15 Ω'] })
  })
  it('ends with 2 for a file that is none', async () => {
    expect(await run('unit-profile', packageFile('profiles', 'policies', 'saltmarsh-pavilion.yaml'))).toBe(2)
    expect(complained).toContain('unit')
  })
})
