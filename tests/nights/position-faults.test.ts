/** What bench-check finds wrong at a position keeps its part off bridge and bus, until bench-check passes there. */
import { describe, expect, it } from 'vitest'
import { scenarioHealthyRack } from '../../mocks/bench/scenarios.ts'
import { defineSequence } from '../../src/engine/sequence.ts'
import { shippedSequences } from '../../src/sequences/index.ts'
import { virtualBench } from './virtual-bench.ts'

const short = { minStepS: 60, soakS: 60, watchS: 60, stepShare: 0.25, fineStepShare: 0.25 }
const mendedAtMs = 4 * 3600_000
const bench = await virtualBench(scenarioHealthyRack(3, 11, { staleFraction: 0 }), 11, {
  faults: { fixture: [{ position: 'P02', kind: 'bleeder-open', untilMs: mendedAtMs }] },
})
const parts = bench.request.parts
const check = await bench.night({ sequence: 'bench-check', parts })
const why = `bench-check ${check.id} found P02 relay and bleeder: charged, and sent nothing back: the bleeder is open`

describe('a position that did not pass bench-check', () => {
  it('shows no volts and no leakage in the status of a night', async () => {
    const seen: unknown[] = []
    bench.clock.after(120_000, () => {
      seen.push(...bench.daemon.status().run!.positions.map(({ volts, leakageA }) => [volts === null, leakageA === null]))
    })
    await bench.night({ parameters: short })
    expect(seen).toEqual([[false, false], [true, true], [false, false]])
  }, 120_000)

  it('is not called measured by that bench-check: its charge was not seen to leave', async () => {
    const touches = (await bench.store.events(check.id)).filter(({ kind, position }) => kind === 'touch' && position === 'P02')
    expect(touches.at(-1)!.text).toBe('P02 NOT SAFE TO TOUCH: UNMEASURED (charged, and sent nothing back: the bleeder is open)')
    expect(bench.daemon.status().latched).toBeNull()
  })

  it('is named by every plan but that of bench-check, with the way out', async () => {
    const { warnings } = await bench.daemon.plan({ ...bench.request, parameters: short })
    expect(warnings).toContain(`P02 stays off bridge and bus: ${why}. To use it, mend it, `
      + 'and let that check of bench-check pass there: with a test part on it, or empty, as it was then')
    expect(warnings.filter(text => text.includes('stays off'))).toHaveLength(1)
    const again = await bench.daemon.plan({ ...bench.request, sequence: 'bench-check', parameters: {} })
    expect(again.warnings.join()).not.toContain('stays off')
  })

  it('meets neither bridge nor bus, is not called measured, and keeps nobody else from the night', async () => {
    const { id, state } = await bench.night({ parameters: short })
    expect(state).toBe('done')
    const events = await bench.store.events(id)
    expect(events.filter(({ kind }) => kind === 'connect').map(({ text }) => text)).toEqual(['P01 P03 on the bus'])
    expect(bench.sim.audit().positions[1]!.bridgeMaxV).toBe(0)
    const results = await bench.store.results(id)
    expect(results.map(({ position, grade }) => `${position} ${grade}`)).toEqual(['P01 accept', 'P02 cannot tell', 'P03 accept'])
    expect(results[1]!.reason).toContain(why)
    const ofIt = events.filter(({ position }) => position === 'P02').map(({ text }) => text)
    expect(events.find(({ kind }) => kind === 'kept-off')!.text).toBe('P02 NOT SAFE TO TOUCH: UNMEASURED (never on the bus; its path did not pass bench-check)')
    expect(ofIt.join('\n')).not.toMatch(/below \d+ V/)
    const soak = await bench.daemon.plan({ ...bench.request, sequence: 'leakage-soak', parameters: {} })
    expect(soak.warnings.join()).toContain(`No forming on record: ${parts[1]!.part}.`)
    expect(soak.refusals.map(({ what }) => what).join()).not.toContain(`rest of ${parts[1]!.part} since`)
    expect(soak.refusals.map(({ what }) => what).join()).toContain(`rest of ${parts[0]!.part} since`)
  }, 120_000)

  it('is not called measured by a discharge that reads nothing through it: a person proves it dead', async () => {
    const { id } = await bench.night({ sequence: 'discharge', parameters: { watchS: 0 } })
    const touch = (await bench.store.events(id)).filter(({ kind, position }) => kind === 'touch' && position === 'P02')
    expect(touch.map(({ text }) => text)).toEqual([`P02 NOT SAFE TO TOUCH: UNMEASURED (${why})`])
    expect(bench.daemon.status().latched?.text).toContain('P02 may still hold a charge')
    await bench.clock.run(bench.daemon.acknowledge('proved dead by hand', 'K. Marsh'))
  }, 120_000)

  it('is used again once bench-check passed there', async () => {
    await bench.clock.advance(mendedAtMs)
    await bench.night({ sequence: 'bench-check', parts })
    const { warnings } = await bench.daemon.plan({ ...bench.request, parameters: short })
    expect(warnings.join()).not.toContain('stays off')
  }, 120_000)
})

it('is refused to a sequence of one\'s own: nobody knows what that does with it', async () => {
  const own = { ...defineSequence({ ...shippedSequences.find(({ name }) => name === 'reform')!, name: 'own' }), origin: { file: 'own.ts', hash: 'x' } }
  const other = await virtualBench(scenarioHealthyRack(2, 12, { staleFraction: 0 }), 12, {
    faults: { fixture: [{ position: 'P01', kind: 'bleeder-open' }] }, sequences: [own],
  })
  await other.night({ sequence: 'bench-check' })
  const { refusals } = await other.daemon.plan({ ...other.request, sequence: 'own', parameters: short })
  expect(refusals).toMatchObject([{ what: 'position', position: 'P01', need: 'a bench-check that passed' }])
}, 120_000)

it('stays off where its bridge relay was found welded: the part would meet the bridge as it leaves the bus', async () => {
  const other = await virtualBench(scenarioHealthyRack(3, 13, { staleFraction: 0 }), 13, {
    faults: { fixture: [{ position: 'P02', kind: 'bridge-welded', untilMs: 3600_000 }] },
  })
  const { id } = await other.night({ sequence: 'bench-check', parts: other.request.parts })
  const { warnings } = await other.daemon.plan({ ...other.request, parameters: short })
  expect(warnings.filter(text => text.includes('stays off'))).toEqual([expect.stringContaining(
    `P02 stays off bridge and bus: bench-check ${id} found P02 bridge relay opens: the bridge relay does not open (welded)`)])
  await other.clock.advance(3600_000)
  await other.night({ sequence: 'bench-check', parts: other.request.parts })
  expect((await other.daemon.plan({ ...other.request, parameters: short })).warnings.join()).not.toContain('stays off')
}, 120_000)

it('stays off where bench-check was stopped after it had found something', async () => {
  const other = await virtualBench(scenarioHealthyRack(3, 14, { staleFraction: 0 }), 14, {
    faults: { fixture: [{ position: 'P02', kind: 'bleeder-open' }] },
  })
  const found = async (): Promise<boolean> => (await other.store.listRuns(1)).length > 0
    && (await other.store.events((await other.store.listRuns(1))[0]!.id)).some(({ kind }) => kind === 'check-failed')
  const look = (): void => {
    void found().then(is => {
      if (is) void other.daemon.stop('enough')
      else other.clock.after(1000, look)
    })
  }
  other.clock.after(1000, look)
  const { state } = await other.night({ sequence: 'bench-check', parts: other.request.parts })
  expect(state).toBe('stopped')
  const { warnings } = await other.daemon.plan({ ...other.request, parameters: short })
  expect(warnings.join()).toContain('P02 stays off bridge and bus')
}, 120_000)

it('nobody is kept off where a part sits that the rack list of bench-check did not name', async () => {
  const other = await virtualBench(scenarioHealthyRack(3, 15, { staleFraction: 0 }), 15)
  const { id } = await other.night({ sequence: 'bench-check', parts: [] })
  const failed = (await other.store.events(id)).filter(({ kind }) => kind === 'check-failed').map(({ text }) => text)
  expect(failed.join('\n')).toMatch(/P02 stays on to the end: P02\.current .* at or above/)
  expect((await other.store.results(id)).slice(0, 3).map(({ grade }) => grade)).toEqual(['reject', 'reject', 'reject'])
  expect((await other.daemon.plan({ ...other.request, parameters: short })).warnings.join()).not.toContain('stays off')
}, 120_000)

it('nobody is kept off by what parts give back that were charged a short while before', async () => {
  const other = await virtualBench(scenarioHealthyRack(3, 16, { staleFraction: 0 }), 16)
  other.clock.after(900_000, () => { void other.daemon.stop('enough') })
  expect((await other.night({ parameters: short })).state).toBe('stopped')
  await other.clock.run(other.daemon.acknowledge('all is well', 'K. Marsh'))
  const { id } = await other.night({ sequence: 'bench-check', parts: other.request.parts })
  expect((await other.store.events(id)).filter(({ kind }) => kind === 'check-failed').map(({ text }) => text)).toEqual([])
}, 120_000)
