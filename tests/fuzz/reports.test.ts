/** Names and notes of people in what others open: pages, tables for spreadsheets, terminals. */
import { describe, expect, it } from 'vitest'
import { parseCsv } from '../../src/cli/csv.ts'
import { statusLines } from '../../src/cli/status-text.ts'
import { printable, renderTable } from '../../src/cli/table.ts'
import { csvLine, recordCsv } from '../../src/report/csv.ts'
import { recordHtml } from '../../src/report/html.ts'
import { recordJson } from '../../src/report/json.ts'
import { buildRecord, type RunTestRecord } from '../../src/report/record.ts'
import { runningStatus } from '../api/fake-application.ts'
import { storeWithNight } from '../report/sample-night.ts'
import { holds } from './holds.ts'
import { nasty } from './texts.ts'

const record = await buildRecord(await storeWithNight({ parts: 1, endS: 700, everyS: 60 }), 'R1', {})

/** The record with `text` wherever a person or an instrument had the word. */
function named(text: string): RunTestRecord {
  const swap = (value: unknown): unknown => JSON.parse(JSON.stringify(value), (_, inner: unknown) =>
    typeof inner === 'string' && inner.startsWith('~') ? text : inner) as unknown
  const copy = structuredClone(record)
  const marked = (value: object, ...keys: string[]): void => { for (const key of keys) (value as Record<string, unknown>)[key] = '~' }
  marked(copy.run, 'person', 'bench', 'software', 'sequence', 'id')
  for (const part of copy.parts) {
    marked(part, 'part', 'profile')
    if (part.result) { marked(part.result, 'part', 'profile', 'reason'); for (const entry of part.result.criteria) marked(entry, 'source') }
  }
  for (const event of copy.events) marked(event, 'text')
  for (const instrument of copy.instruments) marked(instrument, 'name', 'identity', 'profile')
  return { ...copy, run: swap(copy.run), parts: copy.parts.map(part => ({ ...part, ...swap({ part: part.part, profile: part.profile, result: part.result }) as object })),
    events: swap(copy.events), instruments: swap(copy.instruments) } as RunTestRecord
}

/** Tags and the names of their attributes, in order: what a browser makes of a page but for its texts. */
const bones = (page: string): string[] => [...page.matchAll(/<[!/?a-zA-Z][^<>]*>/g)].map(([tag]) => tag.replace(/="[^"]*"/g, ''))
const control = /[\u0000-\u0008\u000b\u000c\u000e-\u001f\u007f-\u009f\u202a-\u202e\u2066-\u2069]/

describe('names in reports', () => {
  const usual = bones(recordHtml(named('C 1')))
  it('are text in a page, whatever they say', async () => {
    expect(usual.length).toBeGreaterThan(50)
    await holds('names in pages', nasty().filter(text => text.trim() !== ''), text => {
      const page = recordHtml(named(text))
      expect(bones(page)).toEqual(usual)
      expect(control.exec(page)?.[0]).toBeUndefined()
      recordJson(named(text))
    })
  })

  const records = (csv: string): string[][] => {
    const { records, faults } = parseCsv(csv)
    expect(faults).toEqual([])
    return records.map(cells => cells.map(({ text }) => text))
  }
  it('are text in a table, and no formula', async () => {
    const formula = /^[\s\u0000]*[=+\-@\uff1d\uff0b\uff0d\uff20]/
    await holds('names in tables', nasty(), text => {
      const [first] = records(`a,${csvLine([text, 'end'])}`)
      expect(first).toHaveLength(3)
      expect(first![2]).toBe('end')
      expect(first![1]).not.toMatch(formula)
      const rows = records(recordCsv(named(text)))
      expect(new Set(rows.map(cells => cells.length)).size).toBe(1)
      for (const cell of rows.slice(1).flat()) {
        if (!/^-?[\d.]+(e-?\d+)?$/.test(cell)) expect(cell).not.toMatch(formula)
      }
    })
  })

  it('move no cursor in a terminal, and make no line of their own', async () => {
    const unsafe = /[\u0000-\u001f\u007f-\u009f\u2028\u2029\u202a-\u202e\u2066-\u2069]/
    await holds('names in terminals', nasty(), text => {
      expect(printable(text)).not.toMatch(unsafe)
      const status = runningStatus(text)
      const [position] = status.run!.positions
      const shown = { ...status, bench: text, latched: { text, wallMs: 0 }, run: { ...status.run!, sequence: text, stage: text, positions: [
        { ...position!, position: text, part: text, note: text, touch: text },
      ] } }
      const lines = [...statusLines(shown, 120), ...renderTable([{ heading: 'a' }, { heading: 'b', right: true }], [[text, text]], 80)]
      for (const line of lines) {
        expect(line).not.toMatch(unsafe)
        expect(line.length).toBeLessThanOrEqual(120)
      }
    })
  })
})
