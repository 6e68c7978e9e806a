import { describe, expect, it } from 'vitest'
import type { FixtureFault, SharedFault, SimBench } from '../../mocks/bench/sim-bench.ts'
import { scenarioHealthyRack } from '../../mocks/bench/scenarios.ts'
import type { PartResult, RunEvent, RunRecord, StartRequest } from '../../src/schema/run.ts'
import type { Wiring } from '../../mocks/wiring/wiring.ts'
import { makePart } from '../../mocks/parts/make-part.ts'
import { virtualBench } from './virtual-bench.ts'

interface Outcome {
  run: RunRecord; results: PartResult[]; events: RunEvent[]; failed: string[]; unshown: string; busV: number; sim: SimBench
}
interface Given {
  fixture?: FixtureFault[]; shared?: SharedFault['kind'][]; loaded?: string[]; request?: Partial<StartRequest>; seed?: number
  wiring?: (wiring: Wiring) => void; sim?: (sim: SimBench) => void
}

/** Three positions and the known resistance on P04. Sound cans stay where `loaded` says so. */
async function check({ fixture = [], shared = [], loaded = [], request = {}, seed = 11, wiring, sim }: Given = {}): Promise<Outcome> {
  const faults = { fixture, shared: shared.map(kind => ({ kind })) }
  const bench = await virtualBench(scenarioHealthyRack(3, seed, { staleFraction: 0 }), seed, { faults })
  bench.sim.positions.slice(0, 3).forEach(({ name }, index) => {
    if (!loaded.includes(name)) bench.sim.now().insert(index, null)
  })
  wiring?.(bench.sim.now())
  sim?.(bench.sim)
  const parts = bench.request.parts.filter(({ position }) => loaded.includes(position))
  const run = await bench.night({ sequence: 'bench-check', parts, ...request })
  const events = await bench.store.events(run.id)
  const textsOf = (wanted: string): string[] => events.filter(({ kind }) => kind === wanted).map(({ text }) => text)
  return {
    run, events, results: await bench.store.results(run.id), busV: bench.sim.now().busV(), sim: bench.sim,
    failed: textsOf('check-failed'), unshown: textsOf('check-unshown').join('\n'),
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
    for (const words of [
      /insulation above/, /relays and bleeders of 3 empty positions/, /the watch relay/, /formal relays/,
      /whether the bridge relays of P01 P02 P03 P04 close/,
    ]) expect(outcome.unshown).toMatch(words)
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

const loaded = ['P01', 'P02', 'P03']
const ofAPart = [
  'relay and bleeder', 'bleeder value', 'watch relay opens the bleeder', 'watch relay closes it again',
  'formal relay open', 'formal relay closes', 'bridge relay',
]
const ofTheBench = [
  'interlock', 'bridge sees nothing while its relays are released', 'cutoff stays closed while refreshed',
  'cutoff drops when not refreshed', 'cutoff closes', 'cutoff opens', 'bridge relays open again',
]

describe('bench-check where a part sits that nobody named', () => {
  it('rejects the position, and lays the bridge on nothing', async () => {
    const hidden = makePart('healthy', { voltageV: 450, capacitanceF: 10e-6 }, 5)
    const outcome = await check({ wiring: wiring => wiring.insert(1, hidden), fixture: [{ position: 'P02', kind: 'bleeder-open' }] })
    expect(reasonAt(outcome, 'P02')).toMatch(/something sits there that charges as a part does/)
    expect(outcome.sim.audit().positions[1]!.part!.voltsMaxV).toBeGreaterThan(20)
    expect(outcome.sim.audit().positions[1]!.bridgeMaxV).toBe(0)
  })
})

describe('bench-check with sound cans as test parts', () => {
  it.each([1, 2, 3, 4, 5, 6, 7, 8, 9, 10])('passes everything on sound bench %i, and never lays the bridge on volts', async seed => {
    const outcome = await check({ loaded, seed })
    expect(outcome.failed).toEqual([])
    expect(outcome.run.state).toBe('done')
    expect(outcome.results.map(({ of }) => of)).toEqual(Array(4).fill('position'))
    expect(outcome.busV).toBeLessThan(1)
    const passed = outcome.events.filter(({ kind }) => kind === 'check').map(({ text }) => text)
    const wanted = [...ofTheBench, ...loaded.flatMap(name => ofAPart.map(what => `${name} ${what}`))]
    for (const what of wanted) expect(passed).toContain(`${what}: passed`)
    for (const { bridgeMaxV } of outcome.sim.audit().positions) expect(bridgeMaxV).toBeLessThan(3)
  })

  it.each([
    ['relay-welded', /does not open/], ['relay-dead', /does not close/], ['bleeder-open', /bleeder is open/],
    ['lead-open', /lead is open/], ['bleeder-half', /bleeder reads 51\.\d kΩ/], ['bleeder-double', /bleeder reads 20\d kΩ/],
    ['formal-dead', /formal relay does not close/], ['formal-welded', /formal relay does not open/],
    ['bridge-dead', /bridge relay does not close/],
  ] as const)('finds %s, and nothing wrong with the others', async (kind, reason) => {
    const outcome = await check({ loaded, fixture: [{ position: 'P02', kind }] })
    expect(outcome.run.state).toBe('done')
    expect(gradeAt(outcome, 'P02')).toBe('reject')
    expect(reasonAt(outcome, 'P02')).toMatch(reason)
    expect(['P01', 'P03', 'P04'].map(position => gradeAt(outcome, position))).toEqual(['accept', 'accept', 'accept'])
    expect(outcome.events.find(({ kind: of }) => of === 'check-failed')).toMatchObject({ severity: 'warning', position: 'P02' })
    for (const { bridgeMaxV } of outcome.sim.audit().positions) expect(bridgeMaxV).toBeLessThan(3)
  })

  it.each([
    ['watch-welded', /the watch relay does not open it/], ['watch-dead', /the watch relay does not close it/],
  ] as const)('finds %s at every part, and keeps the bridge off what it cannot prove dead', async (kind, reason) => {
    const outcome = await check({ loaded, shared: [kind] })
    expect(outcome.run.state).toBe('done')
    for (const name of loaded) expect(reasonAt(outcome, name)).toMatch(reason)
    expect(gradeAt(outcome, 'P04')).toBe('accept')
    for (const { bridgeMaxV } of outcome.sim.audit().positions) expect(bridgeMaxV).toBe(0)
  })

  it('finds a welded bridge relay before any voltage, tells which, and stays at zero', async () => {
    const outcome = await check({ loaded, fixture: [{ position: 'P02', kind: 'bridge-welded' }] })
    expect(outcome.run.state).toBe('done')
    expect(outcome.results.every(({ grade }) => grade === 'reject')).toBe(true)
    expect(reasonAt(outcome, 'P02')).toMatch(/bridge relay does not open/)
    expect(reasonAt(outcome, 'P01')).toMatch(/a relay that leads to it is welded/)
    expect(outcome.unshown).toMatch(/everything that needs voltage/)
    expect(outcome.sim.audit().busMaxV).toBeLessThan(1)
  })

  it('says so where a part discharges too fast to be followed', async () => {
    const ownProfile = { profile: 'al-450v-10u-general' }
    const parts = [{ position: 'P01', part: 'T1', note: '', condition: 'sound' as const, ...ownProfile }]
    const many = await virtualBench(scenarioHealthyRack(60, 3, { staleFraction: 0 }), 3)
    for (let index = 0; index < 60; index++) many.sim.now().insert(index, index === 0 ? makePart('healthy', { voltageV: 450, capacitanceF: 10e-6 }, 5) : null)
    const run = await many.night({ sequence: 'bench-check', parts })
    const texts = (await many.store.events(run.id)).map(({ text }) => text)
    expect(run.state).toBe('done')
    expect(texts.filter(text => text.includes('sweeps can follow'))).toHaveLength(1)
    expect(texts.filter(text => text.startsWith('P01 bleeder value'))).toEqual([])
  })
})

describe('bench-check with another part than was named', () => {
  it('says what the bridge reads', async () => {
    const other = makePart('healthy', { voltageV: 450, capacitanceF: 22e-6 }, 5)
    const outcome = await check({ loaded, wiring: wiring => wiring.insert(1, other) })
    expect(reasonAt(outcome, 'P02')).toMatch(/the bridge reads 2\d\.\d µF: not the test part/)
    expect(gradeAt(outcome, 'P01')).toBe('accept')
  })
})

describe('bench-check of the cutoff', () => {
  it('finds one that stays closed though nobody refreshes it, and opens it itself', async () => {
    const outcome = await check({ loaded, sim: sim => { sim.instruments.cutoff.holdMs = 600_000 } })
    expect(outcome.run.state).toBe('done')
    expect(outcome.failed).toHaveLength(1)
    expect(outcome.failed[0]).toMatch(/^cutoff drops when not refreshed: still closed 4\.\d s after the last refresh/)
    expect(outcome.results.every(({ grade }) => grade === 'reject')).toBe(true)
    expect(outcome.sim.instruments.cutoff.contact).toBe(false)
  })

  it('finds one that opens though the keeper refreshes it, and stays at zero', async () => {
    const outcome = await check({ loaded, sim: sim => { sim.instruments.cutoff.holdMs = 300 } })
    expect(outcome.failed[0]).toMatch(/^cutoff stays closed while refreshed/)
    expect(outcome.unshown).toMatch(/everything that needs voltage/)
    expect(outcome.sim.audit().busMaxV).toBeLessThan(1)
  })
})

describe('bench-check of an empty rack at a night\'s voltage', () => {
  const request = { parameters: { leakageV: 450 }, use: 'unattended' as const }

  it('raises the bus once, passes, and shows more than at low voltage', async () => {
    const outcome = await check({ request })
    expect(outcome.failed).toEqual([])
    expect(outcome.run.state).toBe('done')
    expect(outcome.busV).toBeLessThan(1)
    expect(outcome.sim.audit().busMaxV).toBeGreaterThan(445)
    expect(outcome.events.map(({ text }) => text)).toContain('P02 insulation at 450 V: passed')
    expect(outcome.unshown).toMatch(/insulation above 1\.\d\d GΩ/)
    expect(outcome.unshown).toMatch(/insulation at 450 V above 2\d\.\d GΩ/)
    expect(outcome.events.some(({ text }) => text.includes('UNMEASURED'))).toBe(false)
  })

  it('finds a holder that leaks too little to show at low voltage', async () => {
    const outcome = await check({ request, wiring: wiring => wiring.insert(1, null, 8e9) })
    expect(outcome.failed).toHaveLength(1)
    expect(reasonAt(outcome, 'P02')).toMatch(/takes 5\d nA at 450 V though it is empty/)
    expect(['P01', 'P03', 'P04'].map(position => gradeAt(outcome, position))).toEqual(['accept', 'accept', 'accept'])
  })

  it('stays low where something is wrong already, or where a part sits that nobody named', async () => {
    const hidden = makePart('healthy', { voltageV: 450, capacitanceF: 47e-6 }, 5)
    for (const wiring of [(w: Wiring) => w.insert(1, null, 0.3e9), (w: Wiring) => w.insert(1, hidden), (w: Wiring) => w.cutoffFault('welded')]) {
      const outcome = await check({ request, wiring })
      expect(outcome.sim.audit().busMaxV).toBeLessThan(30)
      expect(outcome.results.filter(({ grade }) => grade === 'accept').length).toBeLessThan(4)
    }
  })

  it('is refused touch-safe, with parts on the rack, and above what the fixture is rated for', async () => {
    const part = { position: 'P01', part: 'X1', profile: 'al-450v-47u-general', note: '', condition: 'sound' as const }
    for (const asked of [
      { ...request, use: 'touch-safe' as const }, { ...request, parts: [part] }, { ...request, parameters: { leakageV: 700 } },
      { ...request, parameters: { leakageV: 20 } },
    ]) await expect(check({ request: asked })).rejects.toMatchObject({ code: 'REFUSED' })
  })
})

describe('bench-check refuses', () => {
  it('a part on the position of the known resistance, and more than 30 V', async () => {
    const part = { position: 'P04', part: 'X1', profile: 'al-450v-47u-general', note: '', condition: 'sound' as const }
    await expect(check({ request: { parts: [part] } })).rejects.toMatchObject({ code: 'REFUSED' })
    await expect(check({ request: { parameters: { voltageV: 31 } } })).rejects.toMatchObject({ code: 'USAGE' })
  })
})
