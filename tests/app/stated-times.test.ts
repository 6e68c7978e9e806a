/** The reaction times that docs/safety.md states, held against the constants they come from. */
import { readFileSync } from 'node:fs'
import { join } from 'node:path'
import { describe, expect, it } from 'vitest'
import { parse } from 'yaml'
import { beatEveryMs } from '../../src/app/pulse.ts'
import { beatLimitMs } from '../../src/app/night-maker.ts'
import { packageRoot } from '../../src/base/paths.ts'
import { positionStaleMs, supplyStuckMs } from '../../src/engine/limits.ts'
import { busStaleMs } from '../../src/safety/silence.ts'

type Cadence = Parameters<typeof busStaleMs>[0]
type Numbers = RegExpExecArray & { groups: Record<string, string> }

const page = readFileSync(join(packageRoot, 'docs/safety.md'), 'utf8')

/** The numbers that `pattern` names in the "acts within" of one layer. */
function stated(layer: string, pattern: RegExp): Record<string, number> {
  const row = page.split('\n').find(line => line.startsWith(`| ${layer} |`))
  expect(row, `docs/safety.md has no layer "${layer}"`).toBeDefined()
  const within = row!.split('|')[3]!.trim()
  const found = pattern.exec(within) as Numbers | null
  expect(found, `"${within}" of "${layer}" does not read ${pattern}`).not.toBeNull()
  return Object.fromEntries(Object.entries(found!.groups).map(([name, text]) => [name, Number(text)]))
}

// Fast above quiet in the last, and none a multiple of another: no two formulas agree by chance.
const cadences = [
  { busMs: 100, busQuietMs: 1000, sweepMs: 2500, sweepQuietMs: 10_000 },
  { busMs: 70, busQuietMs: 1900, sweepMs: 3100, sweepQuietMs: 17_000 },
  { busMs: 2300, busQuietMs: 900, sweepMs: 5300, sweepQuietMs: 7100 },
] as Cadence[]

describe('the reaction times stated in docs/safety.md', () => {
  it.each(cadences)('are those of a stale bus and a stale position (%o)', cadence => {
    const say = stated('supervisor, staleness', new RegExp('^bus: (?<bus>\\d+) × busQuietMs \\(busMs where that is more\\)'
      + ' \\+ (?<busS>\\d+) s; a position: (?<quiet>\\d+) × sweepQuietMs \\+ (?<sweeps>\\d+) × what a sweep takes'
      + ' \\+ (?<positionS>\\d+) s$'))
    const slower = Math.max(cadence.busMs, cadence.busQuietMs)
    expect(busStaleMs(cadence)).toBe(say.bus! * slower + 1000 * say.busS!)
    const sweepS = 4.5
    expect(positionStaleMs(cadence, sweepS))
      .toBe(say.quiet! * cadence.sweepQuietMs + say.sweeps! * 1000 * sweepS + 1000 * say.positionS!)
  })

  it.each(cadences)('are those of a fallen bus (%o)', cadence => {
    const say = stated('supervisor, fallen bus', /^(?<sweeps>\d+) × sweepMs \+ (?<s>\d+) s$/)
    const night = { bench: { cadence } } as Parameters<typeof supplyStuckMs>[0]
    expect(supplyStuckMs(night)).toBe(say.sweeps! * cadence.sweepMs + 1000 * say.s!)
  })

  it('are those of the heartbeat and the pulse', () => {
    expect(beatLimitMs).toBe(1000 * stated('keeper, heartbeat', /^(?<s>\d+) s \+ one write per link/).s!)
    expect(beatEveryMs).toBe(stated('daemon, clocks', /^at the next pulse, (?<ms>\d+) ms/).ms!)
  })

  it('are those of the hold-in relay that ships', () => {
    const profile = parse(readFileSync(join(packageRoot, 'profiles/instruments/hold-in-relay-a.yaml'), 'utf8')) as
      { holdMs: number }
    const { s } = stated('hold-in relay', /^its hold time \(profile, (?<s>\d+) s for the class that ships\)/)
    expect(profile.holdMs).toBe(1000 * s!)
  })
})
