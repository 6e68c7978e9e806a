import { describe, expect, it } from 'vitest'
import type { FixtureFault } from '../../mocks/bench/sim-bench.ts'
import { scenarioHealthyRack } from '../../mocks/bench/scenarios.ts'
import type { PartResult, RunEvent, RunRecord, StartRequest } from '../../src/schema/run.ts'
import type { Wiring } from '../../mocks/wiring/wiring.ts'
import { virtualBench } from './virtual-bench.ts'

interface Outcome { run: RunRecord; results: PartResult[]; events: RunEvent[]; failed: string[]; busV: number }

/** Three positions and the known resistance on P04. Sound cans stay where `loaded` says so. */
async function check(
  { fixture = [], loaded = [], request = {}, wiring }: {
    fixture?: FixtureFault[]; loaded?: string[]; request?: Partial<StartRequest>; wiring?: (wiring: Wiring) => void
  } = {},
): Promise<Outcome> {
  const bench = await virtualBench(scenarioHealthyRack(3, 11, { staleFraction: 0 }), 11, { faults: { fixture } })
  bench.sim.positions.slice(0, 3).forEach(({ name }, index) => {
    if (!loaded.includes(name)) bench.sim.now().insert(index, null)
  })
  wiring?.(bench.sim.now())
  const parts = bench.request.parts.filter(({ position }) => loaded.includes(position))
  const run = await bench.night({ sequence: 'bench-check', parts, ...request })
  const events = await bench.store.events(run.id)
  return {
    run, events, results: await bench.store.results(run.id), busV: bench.sim.now().busV(),
    failed: events.filter(({ kind }) => kind === 'check-failed').map(({ text }) => text),
  }
}
const gradeAt = ({ results }: Outcome, position: string): string | undefined =>
  results.find(result => result.position === position)?.grade
const reasonAt = ({ results }: Outcome, position: string): string =>
  results.find(result => result.position === position)!.reason

describe('bench-check on an empty rack', () => {
  it('passes on a sound bench, leaves it dead, and says what it cannot show', async () => {
    const outcome = await check()
    expect(outcome.failed).toEqual([])
    expect(outcome.run.state).toBe('done')
    expect(outcome.results.map(({ grade }) => grade)).toEqual(['accept', 'accept', 'accept', 'accept'])
    expect(outcome.busV).toBeLessThan(1)
    const unshown = outcome.events.filter(({ kind }) => kind === 'check-unshown').map(({ text }) => text).join('\n')
    expect(unshown).toMatch(/insulation above/)
    expect(unshown).toMatch(/relays and bleeders of 3 empty positions/)
    const checked = outcome.events.filter(({ kind }) => kind === 'check').map(({ text }) => text)
    for (const what of ['interlock', 'cutoff closes', 'cutoff opens', 'P01 insulation', 'P04 known resistance', 'P04 relay opens']) {
      expect(checked).toContain(`${what}: passed`)
    }
  })

  it('finds a welded relay where the known resistance sits', async () => {
    const outcome = await check({ fixture: [{ position: 'P04', kind: 'relay-welded' }] })
    expect(gradeAt(outcome, 'P04')).toBe('reject')
    expect(reasonAt(outcome, 'P04')).toMatch(/does not open/)
    expect(gradeAt(outcome, 'P01')).toBe('accept')
  })

  it('finds a relay that does not close where the known resistance sits', async () => {
    const outcome = await check({ fixture: [{ position: 'P04', kind: 'relay-dead' }] })
    expect(gradeAt(outcome, 'P04')).toBe('reject')
    expect(reasonAt(outcome, 'P04')).toMatch(/does not close/)
    expect(outcome.failed).toHaveLength(1)
  })

  it('finds an empty holder that leaks, and a known resistance that is another', async () => {
    const outcome = await check({ wiring: wiring => { wiring.insert(1, null, 0.3e9); wiring.insert(3, null, 120e6) } })
    expect(['P01', 'P02', 'P03', 'P04'].map(position => gradeAt(outcome, position))).toEqual(['accept', 'reject', 'accept', 'reject'])
    expect(reasonAt(outcome, 'P04')).toMatch(/does not read right/)
  })

  it('finds a cutoff that does not open, which fails every position', async () => {
    const outcome = await check({ wiring: wiring => wiring.cutoffFault('welded') })
    expect(outcome.failed.some(text => text.startsWith('cutoff opens'))).toBe(true)
    expect(outcome.results.every(({ grade }) => grade === 'reject')).toBe(true)
  })
})

describe('bench-check with sound cans as test parts', () => {
  const loaded = ['P01', 'P02', 'P03']

  it('passes relays and bleeders on a sound bench', async () => {
    const outcome = await check({ loaded })
    expect(outcome.failed).toEqual([])
    expect(outcome.run.state).toBe('done')
    expect(outcome.events.filter(({ text }) => text.endsWith('relay and bleeder: passed'))).toHaveLength(3)
  })

  it.each([
    ['relay-welded', /does not open/], ['relay-dead', /does not close/], ['bleeder-open', /bleeder is open/],
    ['lead-open', /lead is open/],
  ] as const)('finds %s, and nothing wrong with the others', async (kind, reason) => {
    const outcome = await check({ loaded, fixture: [{ position: 'P02', kind }] })
    expect(outcome.run.state).toBe('done')
    expect(gradeAt(outcome, 'P02')).toBe('reject')
    expect(reasonAt(outcome, 'P02')).toMatch(reason)
    expect(['P01', 'P03', 'P04'].map(position => gradeAt(outcome, position))).toEqual(['accept', 'accept', 'accept'])
    expect(outcome.events.find(({ kind: of }) => of === 'check-failed')).toMatchObject({ severity: 'warning', position: 'P02' })
  })
})

describe('bench-check refuses', () => {
  it('a part on the position of the known resistance, and more than 30 V', async () => {
    const part = { position: 'P04', part: 'X1', profile: 'al-450v-47u-general', note: '', condition: 'sound' as const }
    await expect(check({ request: { parts: [part] } })).rejects.toMatchObject({ code: 'REFUSED' })
    await expect(check({ request: { parameters: { voltageV: 31 } } })).rejects.toMatchObject({ code: 'USAGE' })
  })
})
