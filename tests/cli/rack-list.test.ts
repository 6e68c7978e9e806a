import { mkdtempSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import fc from 'fast-check'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { BenchError, hasCode } from '../../src/base/errors.ts'
import { parseCsv } from '../../src/cli/csv.ts'
import { ofRack, readRackList } from '../../src/cli/rack-list.ts'

let folder: string
beforeAll(() => { folder = mkdtempSync(join(tmpdir(), 'rack-')) })
afterAll(() => rmSync(folder, { recursive: true }))

const read = (name: string, text: string | Buffer) => {
  const path = join(folder, name)
  writeFileSync(path, text)
  return readRackList(path).parts
}
/** What is wrong, as [line, column, expected, got]. */
const wrong = (name: string, text: string): unknown[][] => {
  try {
    read(name, text)
  } catch (error) {
    if (!hasCode(error, 'FILE_INVALID')) throw error
    return error.context.problems!.map(({ line, column, expected, got }) => [line, column, expected, got])
  }
  return []
}
const wanted = [
  { position: 'P01', part: 'C1', profile: 'can-450v', note: 'left, top', condition: 'sound' },
  { position: 'P02', part: 'C2', profile: 'can-450v', note: '', condition: 'bulging' },
]

describe('a rack list', () => {
  it.each([
    ['a.csv', 'position,part,profile,condition,note\nP01,C1,can-450v,,"left, top"\nP02,C2,can-450v,bulging,\n'],
    ['b.csv', '\ufeffNote;Profile;Part;Position;Condition\r\nleft, top;can-450v;C1;P01;sound\r\n\r\n;can-450v;C2;P02;bulging\r\n'
      .replace('left, top', '"left, top"').replaceAll('; ', ';')],
    ['c.yaml', '- {position: P01, part: C1, profile: can-450v, note: "left, top"}\n'
      + '- {position: P02, part: C2, profile: can-450v, condition: bulging}\n'],
    ['d.json', JSON.stringify(wanted)],
  ])('is read from %s', (name, text) => { expect(read(name, text)).toEqual(wanted) })

  it('says how warm and at how many volts a part is in its unit, where somebody knows', () => {
    expect(read('s.csv', 'position,part,profile,serviceC,serviceV\nP01,C1,can-450v,55,400\nP02,C2,can-450v,,\n'))
      .toMatchObject([{ serviceC: 55, serviceV: 400 }, { part: 'C2' }])
    expect(read('s.csv', 'position,part,profile,serviceC\nP02,C2,can-450v,\n')[0]).not.toHaveProperty('serviceC')
    expect(wrong('s.csv', 'position,part,profile,serviceC\nP01,C1,can-450v,warm\n')).toEqual([[2, 17, expect.stringContaining('number'), '"warm"']])
  })

  it.each([
    ['no profile', 'a.csv', 'position,part\nP01,C1\n', 'a heading "profile"'],
    ['a strange heading', 'a.csv', 'position,part,profile,colour\nP01,C1,x,red\n', 'the heading "colour"'],
    ['a heading twice', 'a.csv', 'position,part,profile,part\nP01,C1,x,C2\n', '"part" twice'],
    ['a strange condition', 'a.csv', 'position,part,profile,condition\nP01,C1,x,fine\n', '2:10 condition'],
    ['too many cells', 'a.csv', 'position,part,profile\nP01,C1,x,y\n', '3 cells'],
    ['a position twice', 'a.csv', 'position,part,profile\nP01,C1,x\nP01,C2,x\n', '3:1 position: expected each position once, got "P01" again, as on line 2'],
    ['a part twice', 'a.yaml', '[{position: P01, part: C1, profile: x}, {position: P02, part: C1, profile: x}]', '"C1" again'],
    ['no part', 'a.csv', 'position,part,profile\n', 'at least one part'],
    ['nothing', 'a.csv', '', 'a heading "position"'],
    ['no part at all', 'a.yaml', '[]', 'expected'],
  ])('with %s is refused by name', (_, name, text, words) => {
    expect(() => read(name, text)).toThrow(expect.objectContaining({
      code: 'FILE_INVALID', message: expect.stringContaining(words) as string,
    }) as Error)
  })

  it('says every problem at once', () => {
    try {
      read('many.csv', 'position,part,profile,condition\nP01,-,x,fine\nP02,C2,,sound\n')
      expect.unreachable()
    } catch (error) {
      expect((error as Error).message.split('\n')).toHaveLength(4)
    }
  })

  it('that is not there or no text is unreadable', () => {
    expect(() => readRackList(join(folder, 'none.csv'))).toThrow(
      expect.objectContaining({ code: 'FILE_UNREADABLE' }) as Error
    )
    expect(() => read('bytes.csv', Buffer.from([0xff, 0xfe, 0x00]))).toThrow(expect.objectContaining({
      code: 'FILE_UNREADABLE',
    }) as Error)
  })
})

/** Mistakes that a person makes, each on a row of its own. */
const slips: [what: string, slip: (cells: string[]) => string[], column: number, says: RegExp][] = [
  ['a position that is none', ([, ...rest]) => ['p1', ...rest], 0, /capitals then digits/],
  ['no part', ([position, , ...rest]) => [position!, '', ...rest], 1, /required/],
  ['a part with a blank', ([position, , ...rest]) => [position!, 'C 1', ...rest], 1, /letters, digits/],
  ['a condition that nobody knows', cells => cells.with(3, 'fine'), 3, /one of "sound"/],
  ['volts with a unit', cells => cells.with(5, '450 V'), 5, /a number in volts without a unit: write 450/],
  ['microfarads', cells => cells.with(6, '47uF'), 6, /a number in farads without a unit: write 0.000047/],
  ['farads where microfarads were meant', cells => cells.with(6, '47'), 6, /at most 1 farads/],
  ['a rating that none has', cells => cells.with(5, '45000'), 5, /at most 1000 volts/],
  ['volts of the wrong sign', cells => cells.with(5, '-450'), 5, /more than 0 volts/],
  ['words for volts', cells => cells.with(5, 'high'), 5, /a number in volts/],
  ['a cell too many', cells => [...cells, 'x'], 7, /7 cells/],
  ['a quote that is not closed', cells => cells.with(4, '"left'), 4, /a quote that is closed/],
  ['a note without end', cells => cells.with(4, 'x'.repeat(501)), 4, /at most 500 characters/],
  ['the position of the first row', ([, ...rest]) => ['A1', ...rest], 0, /each position once/],
  ['the part of the first row', ([position, , ...rest]) => [position!, 'C0', ...rest], 1, /each part once/],
]
const names = ['position', 'part', 'profile', 'condition', 'note', 'ratedV', 'capacitanceF']
const row = (i: number): string[] => [`P${i}`, `C${i}`, 'can-450v', 'sound', '"a, b"', '450', '4.7e-5']
const first = ['A1', 'C0', 'can-450v', 'sound', '', '450', '']

describe('mistakes in a rack list', () => {
  const some = fc.subarray(slips.map((_, i) => i))
  const sound = fc.array(fc.boolean(), { minLength: slips.length, maxLength: slips.length })

  it('are all told, each with its line and column, whatever others there are', () => {
    fc.assert(fc.property(some, sound, fc.constantFrom(',', ';'), fc.boolean(), (planted, between, comma, slipInHead) => {
      const rows = [slipInHead ? names.with(3, 'conditon') : names, first]
      const wanted = slipInHead ? [[1, 3, /did you mean condition/] as const] : []
      const at = planted.map((slip, i) => {
        if (between[i]) rows.push(row(100 + i))
        rows.push(slips[slip]![1](row(i + 1)))
        return [rows.length, slips[slip]![2], slips[slip]![3]] as const
      })
      const lines = rows.map(cells => cells.map(cell => comma === ';' ? cell.replace(',', '.') : cell))
      const told = wrong('slips.csv', lines.map(cells => cells.join(comma)).join('\n'))
      for (const [line, column, says] of [...wanted, ...at]) {
        const begins = lines[line - 1]!.slice(0, column).join(comma).length + (column > 0 ? 2 : 1)
        // A cell that is empty has the place of the one that is there: its own comma.
        expect(told).toContainEqual([line, begins, expect.stringMatching(says), expect.any(String)])
      }
      expect(told).toHaveLength(wanted.length + at.length)
    }))
  })

  it('are all told in YAML and JSON too, with their lines', () => {
    const spoilt: [Record<string, unknown>, string, RegExp][] = [
      [{ position: 'p1' }, 'position', /capitals/], [{ part: 3 }, 'part', /text/], [{ ratedV: '450 V' }, 'ratedV', /write 450/],
      [{ profil: 'x' }, 'profil', /did you mean profile/], [{ capacitanceF: 47 }, 'capacitanceF', /at most 1 farads/],
      [{ position: 'A1' }, 'position', /each position once/], [{ part: 'C0' }, 'part', /each part once/],
    ]
    fc.assert(fc.property(fc.subarray(spoilt), fc.constantFrom('yaml', 'json'), (planted, kind) => {
      const parts = [{ position: 'A1', part: 'C0', profile: 'x' }, ...planted.map(([change], i) => (
        { position: `P${i}`, part: `C${i + 1}`, profile: 'x', ...change }))]
      const text = `[\n${parts.map(part => JSON.stringify(part)).join(',\n')}\n]\n`
      const told = wrong(`slips.${kind}`, text)
      planted.forEach(([, key, says], i) => {
        const column = text.split('\n')[i + 2]!.indexOf(`"${key}"`) + 1
        expect(told).toContainEqual([i + 3, column, expect.stringMatching(says), expect.any(String)])
      })
      expect(told).toHaveLength(planted.length)
    }))
  })

  it('in a heading do not hide those in the rows, and are told with the nearest one', () => {
    expect(wrong('head.csv', 'positon,part,colour\nP01,C 1,red\nP01,C2,red\n')).toEqual([
      [1, 1, 'a known heading: did you mean position?', 'the heading "positon"'],
      [1, 1, 'a heading "profile"', 'positon, part, colour'],
      [1, 14, expect.stringMatching(/^one of position, part/), 'the heading "colour"'],
      [2, 5, expect.stringMatching(/letters/), '"C 1"'],
      [3, 1, 'each position once', '"P01" again, as on line 2'],
    ])
  })

  it('that a daemon finds are told by their place in the list, and its other errors stay', async () => {
    const path = join(folder, 'placed.csv')
    writeFileSync(path, 'part,position,profile\nC1,P01,a\nC2,P02,b\n')
    const rack = readRackList(path)
    const said = (error: Error) => ofRack(rack, Promise.reject(error))
    const problem = { file: 'parts', path: 'parts[1].profile', expected: 'a part profile', got: '"b"' }
    await expect(said(new BenchError('FILE_INVALID', 'x', { problems: [problem] }))).rejects.toMatchObject({
      code: 'FILE_INVALID', context: { file: path, problems: [{ file: path, path: 'profile', line: 3, column: 8 }] },
    })
    const other = new BenchError('REFUSED', 'no')
    await expect(said(other)).rejects.toBe(other)
    await expect(ofRack(rack, Promise.resolve(1))).resolves.toBe(1)
  })
})

describe('CSV', () => {
  it('takes a line of a million cells in seconds', () => {
    const { records } = parseCsv(`head,line\n${'x,'.repeat(1_000_000)}`)
    expect(records.map(cells => cells.length)).toEqual([2, 1_000_001])
    expect(records[1]!.at(-1)).toMatchObject({ line: 2, column: 2_000_001 })
  })

  it('gives back any cells that were written the RFC 4180 way', () => {
    const cell = fc.string({
      unit: fc.constantFrom(...'ab",;\n\' é'), maxLength: 8
    }).filter(text => text.trim() !== '')
    fc.assert(fc.property(fc.array(
      fc.array(cell, { minLength: 2, maxLength: 4 }), { minLength: 1, maxLength: 5 }
    ), rows => {
      const quoted = (text: string): string => `"${text.replaceAll('"', '""')}"`
      const text = `head,line\n${rows.map(row => row.map(quoted).join(',')).join('\r\n')}`
      expect(parseCsv(text).records.slice(1).map(cells => cells.map(cell => cell.text))).toEqual(rows)
    }))
  })
})
