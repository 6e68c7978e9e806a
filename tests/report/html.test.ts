import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { formatWall } from '../../src/base/format.ts'
import type { RunTestRecord } from '../../src/report/record.ts'
import { recordCsv } from '../../src/report/csv.ts'
import { recordHtml } from '../../src/report/html.ts'
import { recordJson } from '../../src/report/json.ts'
import { escapeHtml, html } from '../../src/report/markup.ts'
import { buildPartRecord, buildRecord } from '../../src/report/record.ts'
import { startWallMs, storeWithNight } from './sample-night.ts'

const night = async (): Promise<RunTestRecord> => await buildRecord(await storeWithNight(), 'R1')
const tagsOf = (page: string): string[] => [
  ...page.matchAll(/<\/?([a-zA-Z!][^\s/>]*)/g)
].map(match => match[1]!)

/** The record with `text` in every place that a person, a file or an instrument fills. */
function poisoned(record: RunTestRecord, text: string): RunTestRecord {
  const part = record.parts[0]!
  const result = part.result!
  return {
    ...record,
    chainHead: text,
    run: { ...record.run, id: text, bench: text, person: text, sequence: text, software: text, use: text },
    instruments: [{ name: text, role: text, identity: text, profile: text, profileHash: text }],
    partProfiles: [{ name: text, hash: text }],
    events: [
      { ...record.events[0]!, text, position: text, severity: 'trip' }, { ...record.events[0]!, text }
    ],
    parts: [{
      ...part, part: text, position: text, profile: text, note: text,
      result: { ...result, reason: text, criteria: result.criteria.map(
        entry => ({ ...entry, source: text, unit: text })
      ) },
    }],
  }
}

describe('the record as a page', () => {
  it('shows grade, value with uncertainty, limit with source, probability, person, software and chain', async () => {
    const record = await night()
    const page = recordHtml(record)
    for (const words of [
      'accept</span> (provisional)', '(21.00 ± 0.40) µA', 'at most 1.10 mA', 'maker data sheet, radial general purpose',
      '&gt; 99.9 %', 'Ida', 'nightbench 0.1.0', record.chainHead, 'A,B,1,2', 'ab12', 'cd34', 'limit 1.10 mA', 'fitted decay',
      formatWall(startWallMs), 'after 1 h 00 min',
    ]) expect(page).toContain(words)
    // One chart of the bus, and of both parts volts, leakage and temperature.
    expect(page.match(/<svg /g)).toHaveLength(7)
  })

  it('calls nothing unmeasured that came and went at a jig, unless it was left charged', async () => {
    const whole = await night()
    const record: RunTestRecord = { ...whole, run: { ...whole.run, setup: { ...whole.run.setup, jig: {} } } }
    const page = recordHtml(record)
    expect(page).not.toMatch(/NOT MEASURED DEAD|NOT SAFE|No sensor on this can/)
    expect(page).toContain('Nothing that was charged there was left charged')
    expect(recordCsv(whole)).toMatch(/UNMEASURED|measured below/)
    expect(recordCsv(record)).not.toMatch(/UNMEASURED|measured below/)
    const charged = { ...record.events[0]!, kind: 'charged', text: 'C9 may hold 20 V' }
    expect(recordHtml({ ...record, events: [...record.events, charged] })).toContain('NOT SAFE TO TOUCH: C9 may hold 20 V')
  })

  it('gives a check of positions as one, and no grade to the parts that sat there', async () => {
    const record = await buildRecord(await storeWithNight({ run: { sequence: 'bench-check' }, result: { reason: '14 checks passed', provisional: false } }), 'R1')
    const page = recordHtml(record)
    expect(page).toContain('2 positions: 2 position sound.')
    expect(page).toContain('position sound</span>: 14 checks passed')
    expect(page).toContain('the part itself was not judged')
    expect(page).not.toMatch(/>accept<\/span>|Probability that the part conforms|closes a grade/)
    const [headings, first] = recordCsv(record).split('\r\n').map(line => line.split(','))
    const cell = (name: string): string | undefined => first![headings!.indexOf(name)]
    expect(['grade', 'provisional', 'disposition'].map(cell)).toEqual(['position sound', '', ''])
  })

  it('needs nothing from outside and runs no script', async () => {
    const page = recordHtml(await night())
    expect(page).not.toMatch(/https?:|url\(|@import|<script|<link|<img| src=| on\w+=/i)
  })

  it('has no broken number in it', async () => {
    expect(recordHtml(await night())).not.toMatch(/NaN|Infinity|undefined|\[object/)
  })

  it('closes every tag it opens', async () => {
    const page = recordHtml(await night())
    const open: string[] = []
    const single = new Set(['!doctype', 'meta', 'br'])
    for (const [tag, slash, name, self] of page.matchAll(/<(\/?)([a-z!][a-z0-9]*)[^>]*?(\/?)>/g)) {
      if (slash === '/') expect(open.pop(), tag).toBe(name)
      else if (self !== '/' && !single.has(name!)) open.push(name!)
    }
    expect(open).toEqual([])
  })

  it('never lets recorded text become a tag or an attribute', async () => {
    const record = await night()
    const tags = tagsOf(recordHtml(poisoned(record, 'x')))
    const hostile = fc.oneof(
      fc.constantFrom(
        '<script>alert(1)</script>', '"><img src=x onerror=alert(1)>', "' onload='x", '</style><b>', '<!--'
      ),
      fc.string({ unit: 'binary', minLength: 1, maxLength: 40 }), fc.string({
        unit: fc.constantFrom(...`<>"'&/=x `), minLength: 1, maxLength: 20
      }),
    )
    fc.assert(fc.property(hostile, text => {
      const page = recordHtml(poisoned(record, text))
      expect(tagsOf(page)).toEqual(tags)
      expect(page).not.toContain('<script')
    }), { numRuns: 150 })
  })

  it('says of a running run that it is not final, and of a broken chain where it breaks', async () => {
    const record = await night()
    const page = recordHtml({
      ...record, run: { ...record.run, state: 'running', endedWallMs: null },
      chain: { holds: false, firstBreak: 'link 7: reading batch' },
    })
    expect(page).toContain('not final')
    expect(page).toContain('BROKEN at link 7: reading batch')
    expect(recordHtml(record)).not.toContain('BROKEN')
  })

  it('says so when a can had no sensor, and when instruments were not recorded', async () => {
    const record = await night()
    const bare = { ...record, instruments: [], parts: [{ ...record.parts[0]!, caseTemperature: null }] }
    expect(recordHtml(bare)).toContain('no temperature was read')
    expect(recordHtml(bare)).toContain('not recorded with this run')
    expect(recordHtml(record)).not.toContain('no temperature was read')
  })

  it('keeps every trip when there are more events than the page shows', async () => {
    const record = await night()
    const event = record.events[0]!
    const many = Array.from({ length: 900 }, (_, i) => ({ ...event, seq: i, text: `raised ${i}` }))
    many.push({ ...event, seq: 900, severity: 'trip' as const, text: 'over-current on P01' })
    const page = recordHtml({ ...record, events: many })
    expect(page).toContain('over-current on P01')
    expect(page).toContain('601 more events without warning')
  })

  it('shows the runs of one part', async () => {
    const page = recordHtml(await buildPartRecord(await storeWithNight(), 'C1'))
    expect(page).toContain('Test record of part C1')
    expect(page).not.toContain('>C2 ')
  })
})

describe('markup', () => {
  it('escapes text and leaves its own markup as it is', () => {
    expect(html`<b>${'<i>'}</b>${html`<u>${'&'}</u>`}${null}${false}${[html`<p></p>`, '"']}`.toString())
      .toBe('<b>&lt;i&gt;</b><u>&amp;</u><p></p>&quot;')
  })

  it('leaves no character that could start a tag or end an attribute', () => {
    fc.assert(fc.property(fc.string({ unit: 'binary' }), text => {
      expect(escapeHtml(text)).not.toMatch(/[<>"'\u0000]/)
    }))
  })
})

describe('the record as CSV and JSON', () => {
  it('has one row a criterion, each as wide as the headings', async () => {
    const lines = recordCsv(await night()).trimEnd().split('\r\n')
    expect(lines).toHaveLength(3)
    expect(
      new Set(lines.map(line => line.split(',').length - (line.includes('"maker') ? 1 : 0)))
    ).toEqual(new Set([38]))
    expect(lines[1]).toContain('leakage,0.000021,4e-7,A,,0.0011')
  })

  it('disarms text that a spreadsheet would run, and quotes what it must', async () => {
    const record = await night()
    expect(recordCsv(poisoned(record, '=1+1'))).toContain(`,'=1+1,`)
    expect(recordCsv(poisoned(record, 'a"b,c\nd'))).toContain('"a""b,c\nd"')
  })

  it('writes JSON that reads back, with null where there is no number', async () => {
    const record = await night()
    const result = { ...record.parts[0]!.result!, pConform: NaN }
    const back = JSON.parse(
      recordJson({ ...record, parts: [{ ...record.parts[0]!, result }] })
    ) as RunTestRecord
    expect(back.parts[0]!.result!.pConform).toBeNull()
    expect(back.bus!.mean).toEqual(record.bus!.mean)
  })
})
