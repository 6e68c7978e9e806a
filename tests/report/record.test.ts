import { describe, expect, it } from 'vitest'
import { buildPartRecord, buildRecord } from '../../src/report/record.ts'
import { leakageFit } from '../../src/report/leakage-fit.ts'
import { partVolts, stagesOf, thinned, type Trace } from '../../src/report/traces.ts'
import type { StoredEvent } from '../../src/schema/store.ts'
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
    expect(fit.curve).toEqual({ amplitudeA: 2e-3, exponent: 0.8, floorA: 2e-5, referenceS: 1 })
  })

  it('has no decay for a part that was dropped before it got to full voltage', async () => {
    const store = await storeWithNight()
    await store.appendEvent('R1', {
      kind: 'drop', severity: 'warning', position: 'P01', atMs: startMs + 1e6, wallMs: startWallMs + 1e6, text: 'too late',
    })
    expect((await buildRecord(store, 'R1')).parts[0]!.decay).not.toBeNull()
    const early = { leakage: emptyTrace, spans: [{ stage: 'dropped' as const, fromS: 0, toS: 9, own: true }], startMs, result: null }
    const [channel] = await store.channels('R1')
    expect(await leakageFit(store, 'R1', channel!, early)).toBeNull()
  })

  it('gives no curve when nothing was fitted', async () => {
    const { parts } = await buildRecord(await storeWithNight({ result: { figures: { leakageA: 1e-5 } } }), 'R1')
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
    event('grade', 50, 'P01: accept', 'P01'), event('stage', 60, 'watching'), event('condemned', 5, 'P03 is open', 'P03'),
  ]
  events.sort((a, b) => a.atMs - b.atMs)
  const told = (position: string) => stagesOf(events, position, startMs, 100).map(span => [span.stage, span.fromS, span.toS])

  it('come from what is told of the run, until the position is dropped or graded', () => {
    expect(told('P01')).toEqual([
      ['polarity', 0, 10], ['forming', 10, 30], ['formal', 30, 40], ['bleeding', 40, 50], ['graded', 50, 100],
    ])
    expect(told('P02')).toEqual([['polarity', 0, 10], ['forming', 10, 20], ['dropped', 20, 100]])
    expect(told('P03')).toEqual([['polarity', 0, 5], ['dropped', 5, 100]])
  })

  it('leave the volts open where it is not told which part has the low resistor', () => {
    const line = (value: number): Trace => ({
      unit: 'V', atS: [5, 15, 35, 38], min: Array<number>(4).fill(value), mean: Array<number>(4).fill(value),
      max: Array<number>(4).fill(value), readings: 4, bad: 0,
    })
    const fixture = { limitOhm: 99_000, senseOhm: 1_000, formalOhm: 1_000 }
    const spans = stagesOf(events, 'P01', startMs, 100)
    expect(partVolts(line(100), line(1e-4), fixture, spans).mean).toEqual([90, 90, null, null])
    const own = spans.map(span => ({ ...span, own: true }))
    expect(partVolts(line(100), line(1e-4), fixture, own).mean[2]).toBeCloseTo(100 - 1e-4 * (1000 + 990), 9)
    expect(partVolts(line(100), line(1e-4), { ...fixture, formalOhm: undefined }, spans).mean.slice(0, 3)).toEqual([90, 90, 90])
  })
})

describe('the volts of a part', () => {
  it('are not taken from a bucket that runs on past its release, where current flows the other way', () => {
    const at = (atS: number[], mean: number[]): Trace => ({ unit: 'V', atS, min: mean, mean, max: mean, readings: 0, bad: 0 })
    const spans = [
      { stage: 'forming' as const, fromS: 0, toS: 50, own: false }, { stage: 'dropped' as const, fromS: 50, toS: 99, own: true },
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
