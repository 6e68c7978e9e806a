import { describe, expect, it } from 'vitest'
import { buildPartRecord, buildRecord } from '../../src/report/record.ts'
import { leakageChart } from '../../src/report/chart.ts'
import { leakageFit } from '../../src/report/leakage-fit.ts'
import { formalSpanOf, partVolts, stagesOf, thinned, type Trace } from '../../src/report/traces.ts'
import { recordHtml } from '../../src/report/html.ts'
import type { Store, StoredEvent } from '../../src/schema/store.ts'
import { addNight, busVoltsAt, leakageAt, startMs, startWallMs, storeWithNight } from './sample-night.ts'

const emptyTrace: Trace = { unit: 'A', atS: [], min: [], mean: [], max: [], readings: 0, bad: 0 }

describe('the record of a run', () => {
  it('counts seconds from the start of the run, not from the start of the daemon', async () => {
    const record = await buildRecord(await storeWithNight(), 'R1')
    expect(record.startMs).toBe(startMs)
    expect(record.bus!.atS[0]).toBe(0)
    expect(record.durationS).toBe(3600)
    expect(record.parts[0]!.stages.map(span => [span.stage, span.fromS, span.toS])).toEqual([
      ['forming', 0, 600], ['soaking', 600, 3300], ['bleeding', 3300, 3590], ['graded', 3590, 3600],
    ])
  })

  it('counts a run that has readings and no events yet from its first reading', async () => {
    const store = await storeWithNight()
    const noEvents: Store = Object.assign(Object.create(store) as Store, {
      events: async () => [], run: async (id: string) => ({ ...(await store.run(id))!, endedWallMs: null, state: 'running' as const }),
      levels: async (...given: Parameters<Store['levels']>) => (await store.levels(...given)).slice(0, 1),
    })
    const record = await buildRecord(noEvents, 'R1')
    expect(record.startMs).toBe(startMs)
    expect(record.durationS).toBeLessThan(60)
    expect(recordHtml(record)).toMatch(/not yet; \d+ s are on record/)
  })

  it('takes the drop over the limiting and the sense resistor off the bus volts', async () => {
    const record = await buildRecord(await storeWithNight({ everyS: 10 }), 'R1', { points: 1000 })
    const volts = record.parts[0]!.volts!
    const at = volts.atS.findIndex(atS => atS === 1000)
    const expected = busVoltsAt(1000) - leakageAt(1000) * 101_000
    expect(Math.abs(volts.mean[at]! - expected)).toBeLessThan(0.5)
    expect(volts.mean[at]!).toBeLessThan(record.bus!.mean[at]! - 3)
  })

  it('claims no volts of a part while it is on its own bleeder', async () => {
    const { parts } = await buildRecord(await storeWithNight(), 'R1')
    const volts = parts[0]!.volts!
    const bleeding = volts.mean.filter((_, i) => volts.atS[i]! > 3310)
    expect(bleeding.length).toBeGreaterThan(3)
    expect(bleeding.every(value => value === null)).toBe(true)
    expect(volts.mean.filter((_, i) => volts.atS[i]! < 3290).every(value => value !== null)).toBe(true)
  })

  it('claims no volts of a part when the resistors of the fixture were not recorded', async () => {
    const store = await storeWithNight({ run: { setup: { fixture: { limitOhm: 'large' } } } })
    const record = await buildRecord(store, 'R1')
    expect(record.fixture).toBeNull()
    expect(record.parts.map(part => part.volts)).toEqual([null, null])
  })

  it('starts the decay on arrival at voltage, with limit, curve and single early readings', async () => {
    const { parts } = await buildRecord(await storeWithNight({ everyS: 1 }), 'R1', { points: 50 })
    const fit = parts[0]!.decay!
    expect(fit.fromS).toBe(600)
    expect(fit.limitA).toBe(1.1e-3)
    expect(fit.points[0]!.atS).toBe(1)
    expect(fit.points.slice(0, 5).map(point => point.atS)).toEqual([1, 2, 3, 4, 5])
    expect(Math.max(...fit.points.map(point => point.atS))).toBeLessThanOrEqual(2700)
    expect(fit.curve).toEqual({ amplitudeA: 2e-3, exponent: 0.8, floorA: 2e-5, referenceS: 1, window: null })
  })

  it('has no decay for a part that was dropped before it got to full voltage', async () => {
    const store = await storeWithNight()
    await store.appendEvent('R1', {
      kind: 'drop', severity: 'warning', position: 'P01', atMs: startMs + 1e6, wallMs: startWallMs + 1e6, text: 'too late',
    })
    expect((await buildRecord(store, 'R1')).parts[0]!.decay).not.toBeNull()
    const early = { leakage: emptyTrace, spans: [
      { stage: 'dropped' as const, fromS: 0, toS: 9, own: true }
    ], startMs, result: null }
    const [channel] = await store.channels('R1')
    expect(await leakageFit(store, 'R1', channel!, early)).toBeNull()
  })

  it('tells in which window the curve holds, where the fit says so', async () => {
    const figures = {
      decayAmplitudeA: 2e-3, decayExponent: 0.8, decayFloorA: 2e-5, decayWindowFromS: 300, decayWindowToS: 2400, decayMisfit: 0.021,
    }
    const { parts } = await buildRecord(await storeWithNight({ result: { figures } }), 'R1')
    expect(parts[0]!.decay!.curve!.window).toEqual({ fromS: 300, toS: 2400, misfit: 0.021 })
    const page = leakageChart('leakage', parts[0]!.decay!)!.toString()
    expect(page).toContain('fitted decay, where it holds: from 5 min 00 s to 40 min 00 s, within 2.1 %')
    const drawn = (markup: string): number[] => [
      .../class="line second" d="M([\d.]+) .*L([\d.]+) /.exec(markup)!.slice(1)
    ].map(Number)
    const whole = leakageChart(
      'leakage', { ...parts[0]!.decay!, curve: { ...parts[0]!.decay!.curve!, window: null } }
    )!.toString()
    expect(drawn(page)[0]).toBeGreaterThan(drawn(whole)[0]! + 50)
    expect(drawn(page)[1]).toBeLessThan(drawn(whole)[1]!)
  })

  it('gives no curve when nothing was fitted', async () => {
    const { parts } = await buildRecord(
      await storeWithNight({ result: { figures: { leakageA: 1e-5 } } }), 'R1'
    )
    expect(parts[0]!.decay!.curve).toBeNull()
  })

  it('prints the head of the chain, and says that the chain holds only when it was recomputed', async () => {
    const store = await storeWithNight()
    const plain = await buildRecord(store, 'R1')
    expect(plain.chainHead).toBe(await store.chainHead('R1'))
    expect(plain.chain).toBeNull()
    expect((await buildRecord(store, 'R1', { verify: true })).chain).toEqual({ holds: true, firstBreak: '' })
  })

  it('refuses a run that is not there', async () => {
    await expect(buildRecord(await storeWithNight(), 'R9')).rejects.toMatchObject({ code: 'NOT_FOUND' })
  })
})

describe('the stages of a position', () => {
  const event = (kind: string, atS: number, text: string, position?: string): StoredEvent => ({
    kind, severity: 'info', atMs: startMs + 1000 * atS, wallMs: startWallMs + 1000 * atS, text, seq: atS, hash: '',
    ...(position === undefined ? {} : { position }),
  })
  const events = [
    event('stage', 0, 'polarity'), event('stage', 10, 'forming'), event('stage', 15, 'brewing'),
    event('drop', 20, 'P02 off the bus', 'P02'), event('stage', 30, 'formal'), event('off', 40, 'bench off'),
    event('grade', 50, 'P01: accept', 'P01'), event('stage', 60, 'watching'), event(
      'condemned', 5, 'P03 is open', 'P03'
    ),
  ]
  events.sort((a, b) => a.atMs - b.atMs)
  const told = (position: string) => stagesOf(events, position, startMs, 100).map(
    span => [span.stage, span.fromS, span.toS]
  )

  it('come from what is told of the run, until the position is dropped or graded', () => {
    expect(told('P01')).toEqual([
      ['polarity', 0, 10], ['forming', 10, 30], ['formal', 30, 40], ['bleeding', 40, 50], ['graded', 50, 100],
    ])
    expect(told('P02')).toEqual([['polarity', 0, 10], ['forming', 10, 20], ['dropped', 20, 100]])
    expect(told('P03')).toEqual([['polarity', 0, 5], ['dropped', 5, 100]])
  })
})

describe('the volts of a part in the formal stage', () => {
  const event = (atS: number, position: string, data?: StoredEvent['data']): StoredEvent => ({
    kind: 'formal', severity: 'info', atMs: startMs + 1000 * atS, wallMs: startWallMs + 1000 * atS, text: '', seq: atS, hash: '',
    position, ...(data ? { data } : {}),
  })
  const spans = [
    { stage: 'soaking' as const, fromS: 0, toS: 100, own: false }, {
      stage: 'formal' as const, fromS: 100, toS: 400, own: false
    },
    { stage: 'bleeding' as const, fromS: 400, toS: 500, own: false },
  ]
  const fixture = { limitOhm: 99_000, senseOhm: 1_000, formalOhm: 1_000 }
  const line = (value: (atS: number) => number): Trace => {
    const atS = Array.from({ length: 50 }, (_, i) => 10 * i)
    const mean = atS.map(value)
    return { unit: 'V', atS, min: mean, mean, max: mean, readings: 50, bad: 0 }
  }
  const told = [
    event(110, 'P01', { on: true, lowResistor: true }), event(230, 'P01', { on: false, lowResistor: true }),
    event(231, 'P02', { on: true, lowResistor: true }), event(351, 'P02', { on: false, lowResistor: true }),
  ]
  const volts = (events: StoredEvent[], position: string): (number | null)[] =>
    partVolts(
      line(() => 100), line(() => 1e-4), fixture, spans, formalSpanOf(events, position, startMs, spans)
    ).mean
      .map(value => value === null ? null : Math.round(100 * value) / 100)

  it('are those behind the limiting resistor before and after its own reading, and behind the low one in it', () => {
    const [p01, p02] = [volts(told, 'P01'), volts(told, 'P02')]
    expect([p01[8], p01[13], p01[20], p01[30]]).toEqual([90, 99.8, 99.8, 90])
    expect([p02[13], p02[20], p02[26], p02[33], p02[38]]).toEqual([90, 90, 99.8, 99.8, 90])
    expect([p01[45], p02[45]]).toEqual([null, null])
  })

  it('are left open only where the resistor was on its way', () => {
    const open = volts(told, 'P01').flatMap((value, i) => value === null && i < 38 ? [10 * i] : [])
    expect(open.length).toBeGreaterThan(0)
    for (const atS of open) expect(Math.min(Math.abs(atS - 110), Math.abs(atS - 230))).toBeLessThanOrEqual(15)
  })

  it('end their reading with the next one where a record tells of no end, and need a resistor to be there', () => {
    const early = [event(110, 'P01'), event(231, 'P02')]
    expect(formalSpanOf(early, 'P01', startMs, spans)).toEqual({ fromS: 110, toS: 231 })
    expect(formalSpanOf(early, 'P02', startMs, spans)).toEqual({ fromS: 231, toS: 400 })
    expect(formalSpanOf(early, 'P03', startMs, spans)).toBeNull()
    const without = [event(110, 'P01', { on: true, lowResistor: false })]
    expect(formalSpanOf(without, 'P01', startMs, spans)).toBeNull()
    expect(volts(without, 'P01').slice(0, 38)).toEqual(Array(38).fill(90))
  })

  it('end where current begins to flow out of the part, though the stage goes on', () => {
    const leaving = line(atS => atS < 300 ? 1e-4 : -3e-3)
    const { mean } = partVolts(line(() => 100), leaving, fixture, spans, null)
    expect([mean[29], mean[30], mean[35]]).toEqual([90, null, null])
  })
})

describe('the volts of a part', () => {
  it('are not taken from a bucket that runs on past its release, where current flows the other way', () => {
    const at = (atS: number[], mean: number[]): Trace => ({
      unit: 'V', atS, min: mean, mean, max: mean, readings: 0, bad: 0
    })
    const spans = [
      {
        stage: 'forming' as const, fromS: 0, toS: 50, own: false
      }, { stage: 'dropped' as const, fromS: 50, toS: 99, own: true },
    ]
    const volts = partVolts(
      at([0, 20, 45, 60], [90, 90, 90, 90]), at([0, 20, 40, 70], [1e-4, 1e-4, -5e-3, -1e-3]),
      { limitOhm: 99_000, senseOhm: 1_000 }, spans,
    )
    expect(volts.mean).toEqual([80, 80, null, null])
  })

  it('thin to means that keep their gaps', () => {
    const mean = [1, 3, null, null, null, 8]
    const thin = thinned({ ...emptyTrace, atS: [0, 1, 2, 3, 4, 5], mean }, 3)
    expect([thin.atS, thin.mean]).toEqual([[0, 2, 4], [2, null, 8]])
  })
})

describe('the record of a part', () => {
  it('holds every run of the part, newest first, and of each run that part alone', async () => {
    const store = await storeWithNight()
    await addNight(store, { id: 'R2', run: { startedWallMs: startWallMs + 86_400_000 } })
    const record = await buildPartRecord(store, 'C2')
    expect(record.runs.map(run => run.run.id)).toEqual(['R2', 'R1'])
    expect(record.runs.map(run => run.parts.map(part => part.part))).toEqual([['C2'], ['C2']])
    expect(record.runs[0]!.events.some(event => event.position === 'P01')).toBe(false)
    expect(record.runs[0]!.events.some(event => event.position === 'P02')).toBe(true)
  })

  it('refuses a part that no run knows', async () => {
    await expect(buildPartRecord(await storeWithNight(), 'C77')).rejects.toMatchObject({ code: 'NOT_FOUND' })
  })
})
