/** The record of a unit: what leads, what is said of what is missing, and that page and data say the same. */
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { escapeHtml } from '../../src/report/markup.ts'
import { unitRecordPage } from '../../src/report/unit-record-page.ts'
import { unitRecordHtml, unitRecordJson, type UnitRecordInput, type UnitRun } from '../../src/report/unit-record.ts'
import { unitRecord, type UnitRecord } from '../../src/report/unit-record-schema.ts'
import {
  burnIn, burnInSays, courseAt, dead, figures, firstPower, input, profile, resultOf, runOf, seriesOf, startWallMs, touchSaid, tripText, tripped, unitRun, twelve, verify,
} from './unit-record-fixture.ts'

const count = (text: string, what: string): number => text.split(what).length - 1
/** Nothing fetched, no script, and no number that is none in what is drawn. */
function expectWhole(page: string): void {
  expect(page).toMatch(/^<!doctype html>/)
  expect(page).not.toMatch(/<script|<img|src=|url\(|@import|href="(?!#)/)
  expect(page).not.toMatch(/NaN|undefined|\[object|Infinity/)
  for (const [, value] of page.matchAll(/\s(?:x|y|x1|x2|y1|y2|cx|cy|width|height)="([^"]*)"/g)) expect(value).toMatch(/^-?\d+(\.\d+)?$/)
}
const sectionOf = (page: string, id: string): string => {
  const from = page.indexOf(`<section id="${id}">`)
  expect(from, id).toBeGreaterThan(0)
  return page.slice(from, page.indexOf('</section>', from))
}
const textOf = (markup: string): string => markup.replace(/<[^>]*>/g, ' ').replace(/\s+/g, ' ')

describe('the record of a unit', () => {
  it('has its sections in order, with the verdict before them', () => {
    const page = unitRecordHtml(input())
    expectWhole(page)
    const ids = [...page.matchAll(/<section id="([a-z-]+)">/g)].map(([, id]) => id)
    expect(ids).toEqual(['verdict', 'unit', 'cautions', 'claims', 'figures', 'curves', 'burn-in', 'first-power', 'parts', 'instruments', 'left', 'integrity'])
    expect(page).not.toContain('class="alarm"')
    const levels = [...page.matchAll(/<h([1-6])/g)].map(([, level]) => Number(level))
    expect(levels.filter(level => level === 1)).toHaveLength(1)
    levels.reduce((before, level) => { expect(level).toBeLessThanOrEqual(before + 1); return level })
  })

  it('says in plain words how the claims ended, and what that does not show', () => {
    const { verdict } = unitRecordJson(input())
    expect(verdict).toMatchObject({ end: 'some not met', met: 5, notMet: 1, cannotBeTold: 9, notMeasured: 0 })
    expect(verdict.says[0]).toBe('Of 15 claims 5 are met, 1 is not met, 9 cannot be told (for 8 of them nothing that answers it was measured).')
    expect(verdict.says[1]).toMatch(/^Not met: separation 45 dB at 1 kHz\./)
    expect(verdict.limits.join(' ')).toContain(burnInSays)
    expect(verdict.limits.join(' ')).toContain('Not all of its parts are proven')
    const page = unitRecordHtml(input())
    for (const says of [...verdict.says, ...verdict.limits]) expect(sectionOf(page, 'verdict')).toContain(escapeHtml(says))
  })

  it('has every claim and every figure once, and each claim names figures that are there', () => {
    const record = unitRecordJson(input())
    const page = unitRecordHtml(input())
    expect(record.figures).toHaveLength(figures().length)
    const claims = sectionOf(page, 'claims')
    expect(count(claims, '<th scope="row"')).toBe(record.claims.length)
    for (const { words } of record.claims) expect(count(claims, `<th scope="row">${escapeHtml(words)}<`)).toBe(record.claims.filter(one => one.words === words).length)
    for (const { id } of record.figures) expect(count(page, `id="${id}"`), id).toBe(1)
    expect(count(sectionOf(page, 'figures'), 'id="F')).toBe(record.figures.length)
    const ids = record.figures.map(({ id }) => id)
    for (const claim of record.claims) expect(ids).toEqual(expect.arrayContaining(claim.figures))
    const power = record.claims[0]!
    expect(power.figures.map(id => record.figures.find(one => one.id === id)!.quantity)).toEqual(Array(6).fill('output power'))
  })

  it('draws what is claimed beside the curves that it is claimed of', () => {
    const shown = sectionOf(unitRecordHtml(input()), 'curves')
    const limits = [...shown.matchAll(/class="limit"[^>]*><title>([^<]*)/g)].map(([, label]) => label)
    expect(limits).toEqual(['claimed at least -2 dB from 40 Hz to 15 kHz', 'claimed at most 1 dB from 40 Hz to 15 kHz', 'claimed at most 2 % up to 40 W'])
    const one = verify().result!.unit!.claims.map(verdict => ({ ...verdict, claim: { ...verdict.claim, channel: 'tea-room' } }))
    expect(sectionOf(unitRecordHtml(input({ runs: [verify({ claims: one })] })), 'curves')).toContain('Dotted: claimed of tea-room at most 2 % up to 40 W.')
    const only = verify({ claims: one, curves: verify().result!.unit!.curves.filter(({ channel }) => channel === 'bandstand') })
    expect(sectionOf(unitRecordHtml(input({ runs: [only] })), 'curves')).not.toContain('class="limit"')
  })

  it('minds what came after what was measured', () => {
    const at = (run: UnitRun, day: number): UnitRun => ({ ...run, run: { ...run.run, startedWallMs: startWallMs + day * 86_400_000 } })
    const cautions = (...runs: UnitRun[]): string => unitRecordJson(input({ runs })).cautions.join(' ')
    expect(cautions(firstPower(), burnIn(), verify())).not.toMatch(/after (its|it)/)
    expect(cautions(firstPower(), verify(), at(burnIn(), 9))).toContain('It was burned in after its figures were measured')
    expect(cautions(burnIn(), verify(), at(firstPower(), 9))).toContain('It had a first power after its figures were measured and it was burned in:')
    expect(cautions(verify(), at(verify({}, { id: 'V2', state: 'stopped' }), 9), at({ ...verify({}, { id: 'V3', state: 'tripped' }), result: null }, 10)))
      .toContain('The figures are those of the earlier run V2: V3 ended by a trip and left none.')
    const changed = verify()
    const setup = { ...changed.run.setup, profile: { name: profile.unit, hash: 'other', profile } }
    expect(cautions(firstPower(), { ...changed, run: { ...changed.run, setup } })).toContain('profiles that differ')
  })

  it('says whose calibration was past due, and whose nobody entered', () => {
    const { cautions, instruments } = unitRecordJson(input({ runs: [verify({}, { startedWallMs: Date.UTC(2026, 6, 1) })] }))
    expect(cautions).toContain('Past the day on which its calibration was due: digitizer.')
    expect(cautions).toContain('When it was calibrated, nobody entered: watts.')
    expect(instruments.map(({ name, calibration, runs }) => [name, calibration, runs])).toEqual([
      ['contactor', '', ['verify-1']], ['digitizer', '2025-06-01 to 2026-06-01, certificate K-117; PAST DUE', ['verify-1']], ['watts', 'not entered', ['verify-1']],
    ])
  })

  it('draws all channels on one chart, and each by itself where it was measured in several ways', () => {
    const of = verify().result!.unit!.curves.filter(({ name }) => name === 'distortion against power')
    const titles = (curves: typeof of): string[] => [...sectionOf(unitRecordHtml(input({ runs: [verify({ curves })] })), 'curves').matchAll(/<figcaption>([^<]*)/g)].map(([, title]) => title!)
    expect(titles(of)).toEqual(['distortion against power: bandstand, tea-room'])
    expect(titles([...of, ...of.map(curve => ({ ...curve, under: '12.0 kHz into 250 Ω' }))]))
      .toEqual(['distortion against power: bandstand', 'distortion against power: tea-room'])
  })

  it('keeps claims in the order of the profile, and lists those of which no verdict tells', () => {
    const some = verify()
    const verdicts = some.result!.unit!.claims.slice(3, 6)
    const record = unitRecordJson(input({ runs: [verify({ claims: verdicts })] }))
    expect(record.claims).toHaveLength(profile.claims.length + 1)
    expect(record.claims.map(({ end }) => end)).toEqual([
      'not measured', 'not measured', 'not measured', 'met', 'cannot be told', 'cannot be told', ...Array<string>(9).fill('not measured'),
    ])
    expect(record.verdict).toMatchObject({ end: 'some cannot be told', notMeasured: 12 })
    expect(sectionOf(unitRecordHtml(input({ runs: [verify({ claims: verdicts })] })), 'left')).toContain('Claims that no figure answers: 12')
  })

  it('is data that its schema takes and JSON keeps', () => {
    for (const given of [input(), input({ runs: [tripped()] }), input({ runs: [], parts: null })]) {
      const record = unitRecordJson(given)
      expect(unitRecord.parse(record)).toEqual(record)
      expect(JSON.parse(JSON.stringify(record))).toEqual(record)
    }
  })

  it('has null for what is no number, and says of it in words', () => {
    const measured = figures()
    measured[4] = { ...measured[4]!, value: NaN, u: NaN }
    const record = unitRecordJson(input({ runs: [verify({ figures: measured })] }))
    expect(record.figures[4]).toMatchObject({ value: null, u: null, expandedU: null })
    expect(JSON.parse(JSON.stringify(record))).toEqual(record)
    expectWhole(unitRecordHtml(input({ runs: [verify({ figures: measured })] })))
  })

  it('carries uncertainties: expanded with the factor that it names', () => {
    const { figures: rows, coverageFactor } = unitRecordJson(input())
    for (const { u, expandedU } of rows) expect(expandedU).toBeCloseTo(coverageFactor * u!, 12)
    expect(textOf(sectionOf(unitRecordHtml(input()), 'claims'))).toContain('(44.50 ± 0.60) W')
    const warmth = textOf(sectionOf(unitRecordHtml(input()), 'burn-in'))
    expect(warmth).toContain('(100 ± 80) mK')
    expect(warmth).toContain('cannot be told')
  })
})

describe('a unit whose newest run did not get done', () => {
  const given = input({ runs: [firstPower(), burnIn(), tripped(), verify({}, { startedWallMs: startWallMs + 1 })] })

  it('leads with what tripped and what may not be touched', () => {
    const record = unitRecordJson(given)
    expect(record.alarms).toMatchObject([{ run: 'burn-in-2', sequence: 'burn-in', state: 'tripped' }])
    expect(record.alarms[0]!.says).toContain(tripText)
    expect(record.touch).toMatchObject({ run: 'burn-in-2', isSafe: false, words: 'NOT SAFE TO TOUCH (plus 71.0 V)' })
    const page = unitRecordHtml(given)
    expectWhole(page)
    const at = ['class="alarm"', escapeHtml(tripText), 'NOT SAFE TO TOUCH (plus 71.0 V)', 'It gets no mains again', 'id="verdict"'].map(words => page.indexOf(words))
    expect(at).toEqual([...at].sort((a, b) => a - b))
    expect(at[0]).toBeGreaterThan(0)
  })

  it('shows the burn-in before it, and says that it is the earlier one', () => {
    const page = unitRecordHtml(given)
    expect(unitRecordJson(given).burnIn?.run).toBe('burn-in-1')
    expect(textOf(sectionOf(page, 'burn-in'))).toContain('The later run burn-in-2 ended by a trip; this one is earlier.')
    expect(sectionOf(page, 'integrity')).toContain('What happened in burn-in-2')
  })

  it('marks the trip in the courses, and tells the time to mains off', () => {
    const burnt = sectionOf(unitRecordHtml(input({ runs: [tripped()] })), 'burn-in')
    expect(count(burnt, 'class="mark"')).toBeGreaterThan(5)
    expect(textOf(burnt)).toMatch(/warm\.heatsink\.hot 140 ms/)
    expect(textOf(burnt)).toContain('Its burn-in came to no findings.')
  })

  it('is not safe to touch where mains came on after the last word, or nothing was said', () => {
    const energise = { kind: 'energise', atS: 100, text: 'mains closes by way of straight' }
    const touch = (says: Parameters<typeof unitRun>[1], state: 'interrupted' | 'running' = 'interrupted') =>
      unitRecordJson(input({ runs: [unitRun(runOf('verify', { state, endedWallMs: null }), says, null)] })).touch
    expect(touch([energise, dead(200)])).toMatchObject({ isSafe: true, words: touchSaid })
    expect(touch([energise, dead(200), { ...energise, atS: 300 }])).toMatchObject({ isSafe: false, wallMs: null })
    expect(touch([energise])!.words).toContain('UNMEASURED')
    expect(touch([energise], 'running')!.words).toContain('mains may be on')
    expect(touch([])).toBeNull()
    const page = unitRecordHtml(input({ runs: [unitRun(runOf('verify', { state: 'interrupted', endedWallMs: null }), [energise], null)] }))
    expect(page).toContain('class="alarm"')
    expect(page.indexOf('UNMEASURED')).toBeLessThan(page.indexOf('id="verdict"'))
  })

  it('takes the word of the last run that gave it mains, not of one that was refused since', () => {
    const refused = unitRun(runOf('verify', { id: 'V9', state: 'refused', startedWallMs: startWallMs + 9e8 }),
      [{ kind: 'refused', severity: 'warning', atS: 1, text: 'the cover is open' }], null)
    const record = unitRecordJson(input({ runs: [tripped(), refused] }))
    expect(record.touch).toMatchObject({ run: 'burn-in-2', isSafe: false })
    expect(record.cautions.join()).toContain('Run V9 (verify) was refused before mains came on: the cover is open; it shows nothing.')
  })

  it('gives no alarm for a trip that a later run of its kind got past', () => {
    const later = burnIn({ run: { id: 'burn-in-3', startedWallMs: startWallMs + 4 * 86_400_000 } })
    expect(unitRecordJson(input({ runs: [tripped(), later] })).alarms).toEqual([])
  })
})

describe('what is missing', () => {
  const says = (over: Partial<UnitRecordInput>, id: string): string => textOf(sectionOf(unitRecordHtml(input(over)), id))

  it('is said in words, section by section', () => {
    const none = { runs: [], parts: null }
    expect(says(none, 'unit')).toContain('No run of pavilion-amp-1 on record has a unit profile.')
    expect(says(none, 'claims')).toContain('Nothing is claimed of it')
    expect(says(none, 'figures')).toContain('No figure was measured yet.')
    expect(says(none, 'curves')).toContain('No curve was measured yet.')
    expect(says(none, 'burn-in')).toContain('It was not burned in')
    expect(says(none, 'first-power')).toContain('No first power of it is on record.')
    expect(says(none, 'parts')).toContain('No parts list was given')
    expect(says(none, 'instruments')).toContain('Identities were not recorded')
    expect(says(none, 'left')).toContain('No run says')
    expect(says(none, 'integrity')).toContain('No run of it is on record.')
    expectWhole(unitRecordHtml(input(none)))
  })

  it('is said of claims that nothing was held against yet', () => {
    const record = unitRecordJson(input({ runs: [firstPower()] }))
    expect(record.verdict).toMatchObject({ end: 'nothing proven', notMeasured: profile.claims.length })
    expect(says({ runs: [firstPower()] }, 'claims')).toContain('No run measured any of these figures yet.')
  })

  it('is said of curves one by one, and of a burn-in and a first power without findings', () => {
    expect(says({ runs: [verify({ curves: [] })] }, 'curves').trim()).toBe(
      'Curves Response Not measured. Distortion against power Not measured. Distortion against frequency Not measured. Spectrum Not measured.')
    const bare = burnIn({ result: resultOf({ unit: {
      figures: [], claims: [], curves: [], left: [], burnIn: { countedS: 0, askedS: 3600, wallS: 10, switchings: 0, lost: [], drifts: [], warmth: [], says: 'Nothing counted.' },
    } }) })
    const burnt = says({ runs: [bare] }, 'burn-in')
    for (const words of ['No time was lost.', 'No drift was measured.', 'No temperature was read.', 'Nothing of it was held against limits']) expect(burnt).toContain(words)
    const first = says({ runs: [firstPower({ run: { state: 'refused' }, says: [{ kind: 'refused', severity: 'warning', atS: 1, text: 'no fuse' }], result: null })] }, 'first-power')
    for (const words of ['it was refused before mains came on', 'What was found with the plug out is not on record.', 'It came to no stage.', 'It came to no result.', 'This run gave it no mains.']) {
      expect(first).toContain(words)
    }
  })
})

/** Keys whose values are of a fixed list, or ids that join one thing to another. */
const fixed = new Set(['format', 'sequence', 'state', 'end', 'grade', 'quantity', 'unit', 'scale', 'kind', 'output', 'bound', 'conditions', 'calibrated', 'name', 'id', 'figures', 'channel'])

/** Every free text of the record becomes this one. */
function filledWith(text: string, value: unknown, key = ''): unknown {
  if (typeof value === 'string') return fixed.has(key) ? value : text
  if (Array.isArray(value)) return value.map(one => filledWith(text, one, key === 'figures' && typeof one === 'object' ? '' : key))
  if (typeof value !== 'object' || value === null || key === 'conditions' || key === 'calibrated') return value
  return Object.fromEntries(Object.entries(value).map(([name, one]) => [name, filledWith(text, one, typeof one === 'object' && name === 'unit' ? '' : name)]))
}

describe('what people wrote', () => {
  const record = unitRecordJson(input({ runs: [firstPower(), burnIn(), tripped(), verify()] }))
  const tags = (page: string): string[] => [...page.slice(page.indexOf('<body>')).matchAll(/<[^>]*>/g)].map(([tag]) => tag.replace(/(aria-label|class)="[^"]*"/g, ''))
  const pageWith = (text: string): string => unitRecordPage(filledWith(text, record) as UnitRecord)

  it('is text wherever it stands, whatever it is', () => {
    const plain = tags(pageWith('plain'))
    expect(plain.length).toBeGreaterThan(500)
    fc.assert(fc.property(fc.string({ unit: 'binary', minLength: 1, maxLength: 40 }), fc.constantFrom('<script>', '"><svg onload=1>', "' x='", '</style>', '&lt;', ''), (drawn, nasty) => {
      const text = `${drawn}${nasty}.`
      expect(tags(pageWith(text))).toEqual(plain)
    }), { numRuns: 30 })
  })

  it('is text too in the names of channels, rails, figures, runs and parts', () => {
    const nasty = '<b onload="x">'
    const shown = unitRecordHtml(input({
      specimen: nasty, software: nasty, others: [{ id: nasty, sequence: nasty, state: 'done', startedWallMs: 0, grade: null }],
      runs: [
        unitRun(runOf('verify', { id: nasty, person: nasty, bench: nasty, software: nasty }),
          [{ kind: 'hold', atS: 1, text: nasty, data: { id: nasty, mainsOn: false } }, { kind: 'go-on', atS: 2, data: { id: nasty, person: nasty } },
            { kind: 'trip', severity: 'trip', atS: 3, text: nasty, data: { id: nasty } }],
          resultOf({ reason: nasty, unit: { figures: figures().map(one => ({ ...one, channel: nasty, notes: [nasty] })), claims: [], left: [nasty],
            curves: verify().result!.unit!.curves.map(one => ({ ...one, channel: nasty, under: nasty, x: { ...one.x, label: nasty, unit: nasty } })) } }),
          [seriesOf({ ...twelve[0]!, name: nasty }, 3, () => 1)]),
      ],
    }))
    expect(shown).not.toContain('<b onload')
    expect(count(shown, escapeHtml(nasty))).toBeGreaterThan(30)
  })
})

describe('the page of 72 hours at a reading a second on 12 channels', () => {
  const readings = 74 * 3600
  const burnt = burnIn()
  const series = twelve.map(one => seriesOf(one, readings, i => courseAt(one, i / readings), 1))
  const given = input({ runs: [firstPower(), { ...burnt, series }, verify()] })

  it('is small, however finely it is given, and loses no peak', () => {
    const peak = { ...series[9]!.buckets[123_456]!, max: 99.5 }
    const buckets = [...series[9]!.buckets]
    buckets[123_456] = peak
    const record = unitRecordJson({ ...given, runs: [{ ...burnt, series: [...series.slice(0, 9), { ...series[9]!, buckets }, ...series.slice(10)] }] })
    const courses = record.runs[0]!.courses
    expect(courses).toHaveLength(12)
    for (const { atS, readings: count } of courses) {
      expect(atS.length).toBeLessThanOrEqual(300)
      expect(count).toBe(16 * readings)
    }
    expect(Math.max(...courses[9]!.max.map(value => value ?? 0))).toBe(99.5)
    const page = unitRecordHtml(given)
    expectWhole(page)
    expect(page.length).toBeLessThan(400_000)
    expect(JSON.stringify(record).length).toBeLessThan(800_000)
  })

  it('draws a spectrum of any length in so many columns, with its highest line', () => {
    const of = (points: number): string => sectionOf(unitRecordHtml(input({ runs: [verify({ curves: [long(points)] })] })), 'curves')
    const long = (points: number) => ({
      name: 'spectrum' as const, channel: null, under: '',
      x: { label: 'frequency', unit: 'Hz', scale: 'log' as const, values: Array.from({ length: points }, (_, i) => i + 1) },
      y: { label: 'level', unit: 'dB', scale: 'linear' as const, values: Array.from({ length: points }, (_, i) => i === points - 77 ? 0 : -120 + i % 3) },
    })
    expect(of(262_144).length).toBeLessThan(30_000)
    expect(of(262_144)).toMatch(/highest 0 dB at 262 kHz/)
  })
})
