/** The jig on its roles: relays move cold, outputs go off whatever fails, and nobody gets more than the jig allows. */
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { VirtualClock } from '../../src/base/clock.ts'
import { BenchError, isBenchError } from '../../src/base/errors.ts'
import { BenchJig } from '../../src/engine/jig.ts'
import { relaysFor } from '../../src/engine/jig-reach.ts'
import type { JigSpec } from '../../src/schema/bench.ts'
import type { Pair, Terminal } from '../../src/schema/jig.ts'
import { residualsOf } from '../../src/screening/residuals.ts'
import type { Measured } from '../../src/schema/reading.ts'
import type { Bridge, OhmMeter, RelayBoard, Roles, Source } from '../../src/schema/roles.ts'

const spec: JigSpec = {
  terminals: 3, voltageMaxV: 20, currentMaxA: 0.05,
  leads: {
    bridge: { high: [1, 2, 3], low: [4, 5, 6] }, 'ohm-meter': { high: [7, 8, 9], low: [10, 11, 12] },
    source: { high: [13, 14, 15], low: [16, 17, 18] }, 'second-source': { high: [19, 20, 21], low: [22, 23, 24] },
  },
}

/** Roles that write down what is wrong: relays moved under power, two instruments at one terminal, too much asked. */
function rig(failing: (call: string) => boolean = () => false, over: Partial<JigSpec> = {}) {
  const clock = new VirtualClock()
  const held = new Set<number>()
  const on = new Set<string>()
  const wrong: string[] = []
  const calls: string[] = []
  const said = async <T>(call: string, answer: T): Promise<T> => {
    calls.push(call)
    if (failing(call)) throw new BenchError('LINK_TIMEOUT', `${call} gave no answer`)
    return answer
  }
  const moved = (): void => { if (on.size > 0) wrong.push(`a relay moved while ${[...on].join(' and ')} was on`) }
  const good = (value: number): Measured => ({ value, u: 1e-3, quality: 'good', atMs: clock.monotonicMs() })
  const board = {
    name: 'board', settleMs: 5,
    hold: async (relays: number[]) => { moved(); for (const one of relays) held.add(one); await said('hold', null) },
    release: async (relays: number[]) => { moved(); for (const one of relays) held.delete(one); await said('release', null) },
  }
  const source = (name: string) => ({
    name, settleMs: 2, ratings: { voltageMaxV: 60, currentMaxA: 1, voltageStepV: 1e-3, currentStepA: 1e-9 },
    forceVoltage: (v: number, a: number) => { if (Math.abs(v) > 20 || a > 0.05) wrong.push('too much'); return said(`${name} volts`, undefined) },
    forceCurrent: (a: number, v: number) => { if (Math.abs(a) > 0.05 || v > 20) wrong.push('too much'); return said(`${name} amps`, undefined) },
    setOutput: async (to: boolean) => { if (to) on.add(name); await said(`${name} ${to ? 'on' : 'off'}`, null); if (!to) on.delete(name) },
    measure: () => {
      if (!on.has(name)) wrong.push(`${name} measured while off`)
      return said(`${name} measure`, { voltage: good(1), current: good(1e-3), limited: false })
    },
  })
  const roles = {
    jig: board as unknown as RelayBoard, source: source('source') as unknown as Source,
    'second-source': source('second') as unknown as Source,
    bridge: { frequenciesHz: [1000], impedance: () => said('bridge', { rOhm: good(1), xOhm: good(-1), frequencyHz: 1000 }) } as unknown as Bridge,
    'ohm-meter': {
      wires: [2, 4], stimulus: () => ({ currentA: 1e-3, openV: 4 }), configure: () => said('ohms set', undefined),
      readResistance: () => said('ohms', good(100)),
    } as unknown as OhmMeter,
  } satisfies Roles
  const stop = new AbortController()
  const jig = new BenchJig({ roles, spec: { ...spec, ...over }, clock, signal: stop.signal, residuals: residualsOf(null) })
  return { jig, stop, clock, held, on, wrong, calls }
}

const codeOf = (work: Promise<unknown>): Promise<string> =>
  work.then(() => 'none', (error: unknown) => isBenchError(error) ? error.code : String(error))

const pairs: Pair[] = ([1, 2, 3] as const).flatMap(high => ([1, 2, 3] as const).filter(low => low !== high).map(low => ({ high, low })))
const verb = fc.oneof(
  fc.record({ kind: fc.constantFrom('impedance' as const, 'resistance' as const), pair: fc.constantFrom(...pairs) }),
  fc.record({
    kind: fc.constantFrom('force' as const, 'drive' as const), pair: fc.constantFrom(...pairs),
    volts: fc.double({ min: -40, max: 40, noNaN: true }), amps: fc.double({ min: 0, max: 0.1, noNaN: true }), byCurrent: fc.boolean(),
  }),
)

function perform(jig: BenchJig, one: typeof verb extends fc.Arbitrary<infer V> ? V : never): Promise<unknown> {
  if (one.kind === 'impedance') return jig.impedance(one.pair, { frequencyHz: 1000, levelV: 1 })
  if (one.kind === 'resistance') return jig.resistance(one.pair, { mostOhm: 100, wires: 4 })
  const { pair, volts, amps, byCurrent } = one as Extract<typeof one, { volts: number }>
  const force = byCurrent ? { currentA: amps, limitV: Math.abs(volts) } : { voltageV: volts, limitA: amps }
  if (one.kind === 'force') return jig.force(pair, force)
  const control = ([1, 2, 3] as Terminal[]).find(leg => leg !== pair.high && leg !== pair.low)!
  return jig.drive(pair, force, control, { currentA: amps, limitV: 2 })
}

describe('the jig', () => {
  it('moves relays cold, leaves outputs off, and gives no more than it allows, whatever fails', () => {
    return fc.assert(fc.asyncProperty(fc.array(verb, { maxLength: 15 }), fc.nat(20), fc.boolean(), async (verbs, failAt, fails) => {
      let calls = 0
      // What an output-off that never gets through leaves on is the keeper's business.
      const { jig, clock, wrong, on, held } = rig(call => fails && !call.endsWith(' off') && ++calls === failAt)
      await clock.run((async () => {
        for (const one of verbs) {
          await perform(jig, one).catch((error: unknown) => { if (!isBenchError(error)) throw error })
          expect([...on]).toEqual([])
          const perTerminal = [...held].filter(relay => relay <= 12)
          expect(perTerminal.length).toBeLessThanOrEqual(2)
        }
      })())
      expect(wrong).toEqual([])
    }))
  })

  it('switches the other source off, too, when one cannot be', async () => {
    const { jig, clock, on, calls } = rig(call => call === 'source off')
    const work = jig.drive({ high: 1, low: 2 }, { voltageV: 5, limitA: 1e-3 }, 3, { currentA: 1e-5, limitV: 2 })
    expect(await clock.run(codeOf(work))).toBe('LINK_TIMEOUT')
    expect(calls).toContain('second off')
    expect([...on]).toEqual(['source'])
  })

  it('puts nothing on and leads nothing once its session has ended, also where a call hung until then', async () => {
    const { jig, stop, clock, calls } = rig(call => {
      if (call === 'source amps') stop.abort(new BenchError('STOPPED', 'enough'))
      return false
    })
    const force = (): Promise<string> => codeOf(jig.force({ high: 1, low: 2 }, { currentA: 1e-3, limitV: 4 }))
    expect(await clock.run(force())).toBe('STOPPED')
    expect(calls).toEqual(['hold', 'source amps'])
    expect(await clock.run(force())).toBe('STOPPED')
    expect(await clock.run(codeOf(jig.impedance({ high: 1, low: 2 }, { frequencyHz: 1000, levelV: 1 })))).toBe('STOPPED')
    expect(calls).toHaveLength(2)
  })

  it('joins two terminals by its wire for one reading alone, and refuses where it has none', async () => {
    const { jig, clock, held } = rig(undefined, { joint: { high: [31, 32, 33], low: [34, 35, 36] } })
    const setup = { frequencyHz: 1000, levelV: 1 }
    await clock.run(jig.impedance({ high: 1, low: 2 }, setup, { high: 3, low: 2 }))
    expect([...held].sort((a, b) => a - b)).toEqual([1, 5, 33, 35])
    await clock.run(jig.force({ high: 1, low: 2 }, { voltageV: 1, limitA: 1e-3 }))
    expect([...held].sort((a, b) => a - b)).toEqual([13, 17])
    expect(rig().jig.reach.joint).toBe(false)
    expect(await rig().clock.run(codeOf(rig().jig.impedance({ high: 1, low: 2 }, setup, { high: 3, low: 2 })))).toBe('REFUSED')
  })

  it('refuses more than the jig allows before an output is on', async () => {
    const { jig, clock, calls } = rig()
    expect(await clock.run(codeOf(jig.force({ high: 1, low: 2 }, { voltageV: 21, limitA: 1e-3 })))).toBe('OUT_OF_RANGE')
    expect(await clock.run(codeOf(jig.force({ high: 1, low: 2 }, { currentA: 0.06, limitV: 1 })))).toBe('OUT_OF_RANGE')
    expect(calls.filter(call => call.endsWith(' on'))).toEqual([])
    await clock.run(jig.force({ high: 1, low: 2 }, { voltageV: 20, limitA: 1e-3 }))
    expect(calls.filter(call => call.endsWith(' on'))).toEqual(['source on'])
  })

  it('throws the first reading after a change of range away, and not every first one', async () => {
    const { jig, clock, calls } = rig()
    for (const mostOhm of [100, 100, 1000]) await clock.run(jig.resistance({ high: 1, low: 2 }, { mostOhm, wires: 2 }))
    expect(calls.filter(call => call === 'ohms')).toHaveLength(5)
  })

  it('leads only what is wired for good from terminal 1 to 2 where it has no relays', () => {
    const wired: JigSpec = { terminals: 2, voltageMaxV: 20, currentMaxA: 0.1 }
    expect(relaysFor(wired, 'bridge', { high: 1, low: 2 })).toEqual([])
    expect(() => relaysFor(wired, 'bridge', { high: 2, low: 1 })).toThrow(/wired from 1 to 2/)
  })
})
