/** The jig compensated by simulated hands: on record, taken over, checked for drift, and refused where it cannot be so. */
import { describe, expect, it } from 'vitest'
import { makeWire } from '../../mocks/bench/drawer.ts'
import type { Heard } from '../../mocks/bench/hands.ts'
import { makeComponent } from '../../mocks/components/make-component.ts'
import { lastNulls, jigHash, nullsOf } from '../../src/app/compensation.ts'
import { BenchError } from '../../src/base/errors.ts'
import { benchFile, type BenchFile } from '../../src/schema/bench.ts'
import type { ScreenRequest } from '../../src/schema/screening.ts'
import type { RunEvent, RunRecord } from '../../src/schema/run.ts'
import { recordHtml } from '../../src/report/html.ts'
import { buildRecord } from '../../src/report/record.ts'
import { openInlineStore } from '../../src/store/inline.ts'
import { openTable, requestFor, soon, tablePart, type Table, type TablePart } from './screening-bench.ts'

const hour = 3_600_000
const twoParts = [tablePart('R1', 'resistor'), tablePart('C1', 'film-capacitor')]

async function table(parts: readonly TablePart[] = twoParts, instant = true): Promise<Table> {
  const opened = await openTable(parts, { instant, store: openInlineStore(':memory:') })
  opened.parts.set('shorting wire', makeWire())
  return opened
}

const heard = (of: Table, tone: Heard): string[] => of.told.filter(one => one.tone === tone).map(({ text }) => text)
const eventsOf = async (of: Table, { id }: RunRecord, kind: string): Promise<RunEvent[]> =>
  (await of.store.events(id)).filter(event => event.kind === kind)
const request = (over: Partial<ScreenRequest> = {}): ScreenRequest => requestFor(twoParts, { insulation: false, ask: 'all', ...over })
const compensate = (of: Table): Promise<RunRecord> => of.screen(request({ compensate: true }))
const again = (of: Table): Promise<RunRecord> => of.screen(request())
const jigOf = async (of: Table, { id }: RunRecord): Promise<string | null> => (await buildRecord(of.store, id, {})).jig
const fileOf = ({ sim }: Table): BenchFile => benchFile.parse(sim.benchFile())

describe('a session that compensates', () => {
  it('asks for the empty jig and the wire first, and finds what the jig adds', async () => {
    const of = await table()
    const run = await compensate(of)
    expect([run.state, heard(of, 'ask')]).toEqual(['done', ['leave the jig empty', 'the shorting wire across 1 and 2', 'R1', 'C1']])
    const { residuals } = of.sim
    const rows = (await eventsOf(of, run, 'compensation')).map(({ data }) => data!)
    expect(rows.map(row => row['frequencyHz'])).toEqual([0, 120, 1e3, 10e3, 1e5])
    const at100k = rows.at(-1) as Record<string, number>
    const omega = 2 * Math.PI * 1e5
    expect(Math.abs(at100k['shortOhm']! - residuals.seriesOhm - 1e-3)).toBeLessThan(3 * at100k['shortU']!)
    expect(Math.abs(at100k['shortReactanceOhm']! - omega * residuals.seriesH)).toBeLessThan(3 * at100k['shortU']!)
    expect(Math.abs(at100k['openSusceptanceS']! - omega * residuals.strayF)).toBeLessThan(3 * at100k['openU']!)
    expect(Math.abs((rows[0] as Record<string, number>)['shortOhm']! - residuals.leadsOhm - 1e-3)).toBeLessThan(0.01)
    const [told] = await eventsOf(of, run, 'compensated')
    expect(told!.text).toMatch(/^compensated: \d+ mΩ and \d+ nH in series, \d+ fF beside, leads \d+ mΩ$/)
    expect(told).toMatchObject({ severity: 'info' })
    expect(heard(of, 'good')).toContain(told!.text)
    expect(run.setup['compensated']).toEqual({ run: run.id, wallMs: run.startedWallMs })
    expect(await jigOf(of, run)).toBe(told!.text)
    expect(recordHtml(await buildRecord(of.store, run.id, {}))).toContain('<dt>Jig</dt><dd>compensated: ')
    expect(of.sim.wrongs).toEqual([])
  })

  it('tells how far the wire is from what it read before, and warns where that is too far', async () => {
    const of = await table()
    await compensate(of)
    await of.clock.advance(72 * hour)
    const same = await compensate(of)
    expect((await eventsOf(of, same, 'compensated'))[0]).toMatchObject({ severity: 'info', text: expect.stringMatching(/ reads? .* from what it did 3 days ago$/) as string })
    of.sim.residuals = { ...of.sim.residuals, seriesOhm: of.sim.residuals.seriesOhm + 0.2 }
    const run = await compensate(of)
    const [event] = await eventsOf(of, run, 'compensated')
    expect(event).toMatchObject({ severity: 'warning' })
    expect(event!.text).toMatch(/the wire reads 200 mΩ from what it did .* ago, [\d.]+ standard uncertainties: what was measured since run .* may be off/)
    expect(event!.text).toContain(same.id)
    expect(heard(of, 'attention')).toContain(event!.text)
  })
})

describe('a later session', () => {
  it('takes over what was found, once the empty jig still reads the same', async () => {
    const of = await table()
    const first = await compensate(of)
    const shown = await of.daemon.screening.plan(request())
    expect(shown).toMatchObject({ compensated: { run: first.id }, zeros: ['empty jig'] })
    of.told.length = 0
    const run = await again(of)
    expect(heard(of, 'ask')).toEqual(['leave the jig empty', 'R1', 'C1'])
    expect((await eventsOf(of, run, 'compensation-check'))[0]).toMatchObject({ severity: 'info', data: { run: first.id, isUsed: true } })
    expect(run.setup['compensated']).toMatchObject({ run: first.id })
    expect(await jigOf(of, run)).toMatch(new RegExp(`^compensated at .* by run ${first.id}$`))
  })

  it('does not use it where the empty jig has drifted, says so, and leaves open what is usual', async () => {
    const parts = [{ id: 'C1', kind: 'mica-capacitor' as const, line: 'capacitor,220p 500V,5,mica,' }]
    const of = await table(parts)
    of.parts.set('C1', makeComponent('mica-capacitor', { value: 220e-12, tolerance: 1e-6, volts: 500 }, 'C1'))
    const first = await of.screen(requestFor(parts, { insulation: false, compensate: true }))
    of.sim.residuals = { ...of.sim.residuals, strayF: of.sim.residuals.strayF + 1e-12 }
    const run = await of.screen(requestFor(parts, { insulation: false, ask: 'all' }))
    const [event] = await eventsOf(of, run, 'compensation-check')
    expect(event).toMatchObject({ severity: 'warning', data: { run: first.id, isUsed: false } })
    expect(heard(of, 'attention')).toContain(event!.text)
    expect(await jigOf(of, run)).toBe(event!.text)
    const uOf = async ({ id }: RunRecord): Promise<number> => (await of.store.results(id))[0]!.criteria[0]!.expandedU
    expect(await uOf(first)).toBeLessThan(0.6e-12)
    expect(await uOf(run)).toBeGreaterThan(2e-12)
  })

  it('does not use it where nothing is seen of the empty jig any more: a lead has come off', async () => {
    const of = await table()
    await compensate(of)
    of.sim.residuals = { ...of.sim.residuals, strayF: 0, strayS: 0 }
    const run = await again(of)
    expect((await eventsOf(of, run, 'compensation-check'))[0]).toMatchObject({ severity: 'warning', text: expect.stringMatching(/^nothing is seen of the empty jig/) as string })
  })

  it('does not use it a day later, nor that of a jig with other instruments', async () => {
    const of = await table()
    await compensate(of)
    await of.clock.advance(23 * hour)
    expect((await of.daemon.screening.plan(request())).compensated).not.toBeNull()
    await of.clock.advance(2 * hour)
    expect(await of.daemon.screening.plan(request())).toMatchObject({ compensated: null, zeros: [] })
    expect(await jigOf(of, await again(of))).toMatch(/^not compensated/)
    const file = fileOf(of)
    const other = { ...file, instruments: { ...file.instruments, lcr: { ...file.instruments['lcr']!, identity: 'ANOTHER,BRIDGE,1,1' } } }
    expect(await lastNulls(of.store, jigHash(file))).not.toBeNull()
    expect(await lastNulls(of.store, jigHash(other))).toBeNull()
  })
})

describe('the wrong thing in the jig', () => {
  it('is noticed where a small capacitor lies in what is called empty, and where a resistor lies in place of the wire', async () => {
    const of = await table(twoParts, false)
    const forgotten = makeComponent('mica-capacitor', { value: 15e-12, tolerance: 1e-6, volts: 500 }, 'forgotten')
    of.sim.residuals = { ...of.sim.residuals, strayF: 10e-12 }
    let isNoticed = false
    let isSaid = false
    of.parts.set('shorting wire', makeComponent('resistor', { value: 10, tolerance: 1e-6 }, 'ten'))
    of.onTold = (_tone, text) => {
      // Whenever the hands have emptied it, it is in again; it is seen, and a person says to measure all the same.
      if (text === 'leave the jig empty' && !isNoticed) of.clock.after(600, () => of.sim.put(forgotten))
      if (text === 'leave the jig empty' && !isSaid) soon(of, 'measure', 5000)
      isSaid = true
      if (text.startsWith('something lies in the jig')) isNoticed = true
      if (text.startsWith('this is no wire')) of.parts.set('shorting wire', makeWire())
    }
    const run = await compensate(of)
    expect(run.state).toBe('done')
    const said = heard(of, 'attention')
    expect(said.find(text => text.startsWith('something lies in the jig'))).toMatch(/2[45]\.\d pF\. Take it out/)
    expect(said.find(text => text.startsWith('this is no wire'))).toMatch(/10\.\d Ω/)
    expect(await eventsOf(of, run, 'compensated')).toHaveLength(1)
  })
})

describe('a session that compensates and does not get to its end', () => {
  it('interrupted between empty and wire leaves nothing that a later one would use', async () => {
    const of = await table()
    let killed: () => void = () => {}
    const dead = new Promise<void>(resolve => { killed = resolve })
    of.onTold = (_tone, text) => { if (text.startsWith('the shorting wire')) killed() }
    const { id } = await of.clock.run(of.daemon.screening.begin(request({ compensate: true })))
    await of.clock.run(dead)
    await of.clock.advance(1000)
    const next = await of.restart()
    of.follow(next)
    of.onTold = () => {}
    of.hands.take()
    const cut = await of.store.run(id)
    expect(cut).toMatchObject({ state: 'interrupted' })
    expect(await jigOf(of, cut!)).toBe('not compensated: the session ended before that was done')
    expect((await next.screening.plan(request())).compensated).toBeNull()
    const run = await of.screen(request({ compensate: true }), next)
    expect([run.state, await lastNulls(of.store, jigHash(fileOf(of)))]).toMatchObject(['done', { run: run.id }])
  })

  it('whose bridge fails in the middle asks again, and goes on', async () => {
    const of = await table()
    const bridge = of.composed.roles.bridge!
    const read = bridge.impedance.bind(bridge)
    let failures = 1
    of.onTold = (_tone, text) => {
      if (text !== 'leave the jig empty') return
      bridge.impedance = async setup => {
        if (setup.frequencyHz > 5e3 && failures-- > 0) throw new BenchError('LINK_TIMEOUT', 'the bridge gave no answer')
        return await read(setup)
      }
    }
    of.clock.after(60_000, () => of.daemon.screening.do('measure'))
    const run = await compensate(of)
    expect(heard(of, 'attention')).toContain('the bridge gave no answer')
    expect([run.state, (await eventsOf(of, run, 'compensated')).length]).toEqual(['done', 1])
  })
})

describe('what was found long ago', () => {
  it('is looked for in the last hundred sessions, runs of other kinds not counted', async () => {
    const of = await table()
    const run = await compensate(of)
    const later = async (count: number, sequence: string): Promise<void> => {
      for (let i = 0; i < count; i++) {
        await of.store.createRun({ ...run, id: `${sequence}-${count}-${i}`, sequence, startedWallMs: run.startedWallMs + 1000 + i, setup: {} }, [])
      }
    }
    await later(99, 'screen')
    await later(50, 'reform')
    expect(await lastNulls(of.store, jigHash(fileOf(of)))).toMatchObject({ run: run.id })
    await later(1, 'screen')
    expect(await lastNulls(of.store, jigHash(fileOf(of)))).toBeNull()
  })
})

describe('rows on record', () => {
  const row = {
    of: 'aaaa', frequencyHz: 1000, shortOhm: 0.02, shortReactanceOhm: 0, shortU: 1e-3, openS: null, openSusceptanceS: null, openU: null,
  }
  const event = (kind: string, data: RunEvent['data'], wallMs = 5): RunEvent => ({ kind, severity: 'info', atMs: 0, wallMs, text: '', ...data ? { data } : {} })
  const end = event('compensated', { of: 'aaaa' }, 7)

  it('count only once all were written, of this jig, and those that can be read', () => {
    expect(nullsOf('run', [event('compensation', row)], 'aaaa')).toBeNull()
    const bad = [{ ...row, shortU: -1 }, { ...row, shortOhm: 'much' }, { of: 'aaaa' }, { ...row, of: 'bbbb' }].map(data => event('compensation', data))
    expect(nullsOf('run', [...bad, event('compensation', row), event('compensation', undefined), end], 'aaaa')).toEqual({ run: 'run', wallMs: 7, rows: [row] })
    expect(nullsOf('run', [...bad, end], 'aaaa')).toBeNull()
    expect(nullsOf('run', [event('compensation', row), end], 'bbbb')).toBeNull()
  })
})
