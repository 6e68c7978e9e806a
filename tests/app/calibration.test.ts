/** Dates of calibration: read from the bench file, said where readings are planned and recorded, and never a refusal. */
import { afterEach, describe, expect, it, vi } from 'vitest'
import { scenarioHealthyRack } from '../../mocks/bench/scenarios.ts'
import { JigBench } from '../../mocks/bench/jig-bench.ts'
import { SimBench } from '../../mocks/bench/sim-bench.ts'
import { VirtualClock } from '../../src/base/clock.ts'
import { calibratedOf } from '../../src/app/calibration.ts'
import type { LoadedBench } from '../../src/app/files.ts'
import { calibrationState, calibrationWords } from '../../src/schema/calibration.ts'
import { planLines } from '../../src/cli/plan-text.ts'
import { screenPlanLines } from '../../src/cli/screen-text.ts'
import { recordHtml } from '../../src/report/html.ts'
import { buildRecord } from '../../src/report/record.ts'
import { benchFile } from '../../src/schema/bench.ts'
import { problemsOf } from '../../src/schema/problems.ts'
import { virtualBench } from '../nights/virtual-bench.ts'
import { openTable, requestFor, tablePart } from './screening-bench.ts'

afterEach(() => { vi.restoreAllMocks() })

const noon = (day: string): number => new Date(`${day}T12:00:00`).getTime()
const dated = { on: '2025-01-10', due: '2026-01-10', certificate: 'K-117 of the county laboratory' }

describe('a calibration', () => {
  it('counts until the end of the day it is due, by the clock on the wall', () => {
    expect([noon('2026-01-10'), noon('2026-01-11')].map(wallMs => calibrationState(dated, wallMs))).toEqual(['in date', 'past due'])
    expect(calibrationState(null, noon('2026-01-10'))).toBe('unknown')
    expect([dated, null].map(one => calibrationWords(one, noon('2026-01-10')))).toEqual([
      '2025-01-10 to 2026-01-10, certificate K-117 of the county laboratory', 'not entered'])
    expect(calibrationWords({ on: '2025-01-10', due: '2026-01-10' }, noon('2026-02-01'))).toBe('2025-01-10 to 2026-01-10; PAST DUE')
  })

  it.each([
    [{ on: '2025-01-10', due: '2025-01-10' }, 'due', 'a day after `on`', '"2025-01-10"'],
    [{ on: '2025-01-10', due: '2024-12-31' }, 'due', 'a day after `on`', '"2024-12-31"'],
    [{ on: '10.1.2025', due: '2026-01-10' }, 'on', 'a day like 2026-11-30', '"10.1.2025"'],
    [{ on: '2025-02-30', due: '2026-01-10' }, 'on', 'a day like 2026-11-30', '"2025-02-30"'],
    [{ on: '2025-01-10' }, 'due', 'text', 'nothing'],
    [{ ...dated, certifcate: 'K' }, 'certifcate', 'a known key: did you mean certificate?', 'the key "certifcate"'],
  ])('%j is not taken: %s', (given, key, expected, got) => {
    const file = structuredClone(new JigBench({ clock: new VirtualClock(), seed: 1 }).benchFile()) as { instruments: Record<string, object> }
    file.instruments['lcr'] = { ...file.instruments['lcr'], calibrated: given }
    const parsed = benchFile.safeParse(file)
    if (parsed.success) throw new Error('it was taken')
    const path = ['instruments', 'lcr', 'calibrated', key]
    expect(problemsOf(benchFile, file, parsed.error.issues)).toEqual([{ path, expected: expect.stringContaining(expected) as string, got }])
  })
})

/** The bench file of a simulated bench with dates at some of its instruments. */
function withDates(of: { prototype: { benchFile(...given: never[]): object } }, dates: Readonly<Record<string, object>>): void {
  const plain = of.prototype.benchFile
  vi.spyOn(of.prototype, 'benchFile').mockImplementation(function (this: object, ...given: never[]) {
    const file = structuredClone(plain.apply(this, given)) as { instruments: Record<string, object> }
    for (const [name, calibrated] of Object.entries(dates)) Object.assign(file.instruments[name]!, { calibrated })
    return file
  })
}

describe('an instrument of a bench', () => {
  const of = (its: string): ReturnType<typeof calibratedOf> => calibratedOf({
    file: { instruments: { one: {} } }, profiles: new Map([['one', { profile: { class: its } }]]),
  } as unknown as LoadedBench, 'one')

  it.each(['multimeter', 'lcr-bridge', 'thermometer', 'power-meter', 'digitizer'])('that is a %s measures: no date is none entered', its => {
    expect(of(its)).toBeNull()
  })
  it.each(['scanner', 'interlock-reader', 'mains-contactor', 'beacon'])('that is a %s does not', its => {
    expect(of(its)).toBeUndefined()
  })
})

describe('a night on a bench with dates', () => {
  it('is planned with one past due, which is a warning, and its record says so', async () => {
    withDates(SimBench, { psu: { on: '2020-01-01', due: '2021-01-01' } })
    const { daemon, request, clock, night, store } = await virtualBench(scenarioHealthyRack(2, 31), 31)
    const plan = await daemon.plan(request)
    expect(plan.refusals).toEqual([])
    expect(plan.warnings).toContain('psu: its calibration was due on 2021-01-01')
    // What does not measure is not asked for: neither scanner nor relays nor beacon.
    expect(plan.calibration).toEqual({ pastDue: ['psu: its calibration was due on 2021-01-01'], unknown: ['bus-dmm', 'sense-dmm', 'bridge', 'thermometer'] })
    expect(planLines(plan)).toContain('Calibration not entered: bus-dmm, sense-dmm, bridge, thermometer')
    const checks = await clock.run(daemon.checkInstruments(['psu', 'bridge', 'relays']))
    expect(checks.map(({ calibration, calibrated }) => [calibration, calibrated?.due ?? null])).toEqual([['past due', '2021-01-01'], ['unknown', null], [null, null]])
    const run = await night({ sequence: 'capacitor-check', parameters: {} })
    expect(recordHtml(await buildRecord(store, run.id, {}))).toContain('<td>2020-01-01 to 2021-01-01; PAST DUE</td>')
  })
})

describe('a screening session on a bench with dates', () => {
  it('says which are past due and which nobody entered, and its record has both', async () => {
    withDates(JigBench, { ohms: { ...dated, due: '2026-01-02' }, smu: dated })
    const parts = [tablePart('R1', 'resistor')]
    const table = await openTable(parts, { instant: true })
    const plan = await table.daemon.screening.plan(requestFor(parts))
    expect(plan.calibration).toEqual({ pastDue: ['ohms: its calibration was due on 2026-01-02'], unknown: ['lcr', 'base-smu'] })
    const text = screenPlanLines(plan, []).join('\n')
    expect(text).toContain('Calibration not entered: lcr, base-smu')
    expect(text).toContain('Mind:\n  - ohms: its calibration was due on 2026-01-02')
    const run = await table.screen(requestFor(parts))
    expect(run.state).toBe('done')
    const page = recordHtml(await buildRecord(table.store, run.id, {}))
    for (const cell of ['2025-01-10 to 2026-01-02, certificate K-117 of the county laboratory; PAST DUE', 'not entered', '–']) expect(page).toContain(`<td>${cell}</td>`)
    expect(page).toContain('<td>2025-01-10 to 2026-01-10, certificate K-117 of the county laboratory</td>')
  })
})
