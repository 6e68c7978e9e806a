/** The record leads with how each part stood, and says from when to when a grade may be closed. */
import { describe, expect, it } from 'vitest'
import { formatWall } from '../../src/base/format.ts'
import { recordCsv } from '../../src/report/csv.ts'
import { recordHtml } from '../../src/report/html.ts'
import { recordJson } from '../../src/report/json.ts'
import { buildRecord } from '../../src/report/record.ts'
import type { Store } from '../../src/schema/store.ts'
import { startMs, startWallMs, storeWithNight } from './sample-night.ts'
import type { NightOptions } from '../../benchmarks/sample-night.ts'

const hourMs = 3_600_000
/** P01 was followed down and read; of P02 nothing was said. */
async function ended(options: NightOptions = {}): Promise<Store> {
  const store = await storeWithNight({
    result: { figures: { recoveredV: 41.26 } }, ...options,
    run: { setup: { fixture: { limitOhm: 100_000, senseOhm: 1_000, bleederOhm: 99_000 } }, ...options.run },
  })
  const [, current] = await store.channels('R1')
  const at = { channel: current!, quality: 'good' as const }
  await store.appendReadings('R1', [
    { ...at, atMs: startMs + 3_601_000, value: -2e-4, u: 1e-7 }, { ...at, atMs: startMs + 3_620_000, value: -1e-5, u: 1e-7 },
    { ...at, atMs: startMs + 3_621_000, value: NaN, u: NaN, quality: 'over-range' as const },
  ])
  await store.appendEvent('R1', {
    kind: 'touch', severity: 'info', atMs: startMs + 3_622_000, wallMs: startWallMs + 3_622_000, position: 'P01',
    text: 'P01 measured below 60 V at 21:00 UTC; prove dead before touching',
  })
  return store
}

describe('how a part stood at the end', () => {
  it('is what was said last, the last good volts with their uncertainty and time, and what came back', async () => {
    const { parts: [first, second] } = await buildRecord(await ended(), 'R1')
    expect(first!.end).toMatchObject({
      words: 'measured below 60 V at 21:00 UTC; prove dead before touching', measured: true,
      wallMs: startWallMs + 3_622_000, recoveredV: 41.26,
    })
    // 10 µA and twice 0.1 µA through 99 kΩ and 1 kΩ, by hand.
    expect(first!.end.volts!.value).toBeCloseTo(1, 9)
    expect(first!.end.volts!.expandedU).toBeCloseTo(0.02, 9)
    expect(first!.end.volts!.wallMs).toBe(startWallMs + 3_620_000)
    expect(second!.end).toMatchObject({ measured: false, volts: null, wallMs: null })
    expect(second!.end.words).toMatch(/^NOT SAFE TO TOUCH: UNMEASURED/)
  })

  it('gives no volts for a part whose readings show nothing of it, however low and fresh', async () => {
    const store = await ended()
    await store.appendEvent('R1', {
      kind: 'touch', severity: 'warning', atMs: startMs + 3_623_000, wallMs: startWallMs + 3_623_000, position: 'P01',
      text: 'P01 NOT SAFE TO TOUCH: UNMEASURED (less charge came back than the part held)',
    })
    const record = await buildRecord(store, 'R1')
    expect(record.parts[0]!.end).toMatchObject({ measured: false, volts: null })
    expect(recordHtml(record)).toContain('<td class="num">not known</td>')
  })

  it('takes no reading from long before for the volts of the end', async () => {
    const store = await ended()
    await store.appendEvent('R1', {
      kind: 'touch', severity: 'warning', atMs: startMs + 9e6, wallMs: startWallMs + 9e6, position: 'P01',
      text: 'P01 NOT SAFE TO TOUCH: UNMEASURED (no reading)',
    })
    expect((await buildRecord(store, 'R1')).parts[0]!.end).toMatchObject({ measured: false, volts: null })
  })

  it('leads the page, before outcome and grades, and names in words what was not measured dead', async () => {
    const page = recordHtml(await buildRecord(await ended(), 'R1'))
    const places = ['How the parts stood at the end', 'NOT MEASURED DEAD: P02', '(1.000 ± 0.020) V', '41.3 V at most', '2 parts: ', '<dt>Bench']
      .map(words => page.indexOf(words))
    expect(Math.min(...places)).toBeGreaterThan(0)
    expect(places).toEqual([...places].sort((a, b) => a - b))
    expect(page).toContain(formatWall(startWallMs + 3_620_000))
  })

  it('stands in CSV and JSON too', async () => {
    const record = await buildRecord(await ended(), 'R1')
    const [headings, first] = recordCsv(record).split('\r\n')
    expect(headings).toContain('touch_at_end,touch_said_utc,end_v')
    expect(first).toContain('measured below 60 V at 21:00 UTC; prove dead before touching,2026-01-05T21:00:22.000Z,')
    expect((JSON.parse(recordJson(record)) as typeof record).parts[0]!.end.recoveredV).toBe(41.26)
  })
})

describe('a provisional grade', () => {
  it('may be closed from 12 to 48 hours after the end of the forming, by the clock', async () => {
    const record = await buildRecord(await ended(), 'R1')
    const endedMs = startWallMs + hourMs
    expect(record.parts[0]!.closes).toEqual({ fromWallMs: endedMs + 12 * hourMs, toWallMs: endedMs + 48 * hourMs })
    const page = recordHtml(record)
    expect(page).toContain(formatWall(endedMs + 12 * hourMs))
    expect(page).toContain(formatWall(endedMs + 48 * hourMs))
    expect(recordCsv(record)).toContain('2026-01-06T09:00:00.000Z,2026-01-07T21:00:00.000Z')
  })

  it('has no such times when it is final, or was not formed in this run', async () => {
    const final = await buildRecord(await ended({ result: { provisional: false } }), 'R1')
    expect(final.parts[0]!.closes).toBeNull()
    expect(recordHtml(final)).not.toContain('provisional')
    const soak = await buildRecord(await ended({ run: { sequence: 'leakage-soak' } }), 'R1')
    expect(soak.parts[0]!.closes).toBeNull()
  })
})

describe('a soak of parts whose forming is not on record', () => {
  it('says so on the page', async () => {
    const note = 'No forming on record: C1. How long they rested is not known; 12.0 h to 48.0 h is usual.'
    const store = await storeWithNight({ run: { sequence: 'leakage-soak', setup: { plan: { warnings: [note, 'another'] } } } })
    const record = await buildRecord(store, 'R1')
    expect(record.restNotes).toEqual([note])
    expect(recordHtml(record)).toContain(note)
  })
})
