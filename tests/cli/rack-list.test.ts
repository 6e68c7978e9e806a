import { mkdtempSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import fc from 'fast-check'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { csvRecords, readRackList } from '../../src/cli/rack-list.ts'

let folder: string
beforeAll(() => { folder = mkdtempSync(join(tmpdir(), 'rack-')) })
afterAll(() => rmSync(folder, { recursive: true }))

const read = (name: string, text: string | Buffer) => {
  const path = join(folder, name)
  writeFileSync(path, text)
  return readRackList(path)
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

  it.each([
    ['no profile', 'a.csv', 'position,part\nP01,C1\n', 'a heading "profile"'],
    ['a strange heading', 'a.csv', 'position,part,profile,colour\nP01,C1,x,red\n', '"colour"'],
    ['a heading twice', 'a.csv', 'position,part,profile,part\nP01,C1,x,C2\n', '"part" twice'],
    ['a strange condition', 'a.csv', 'position,part,profile,condition\nP01,C1,x,fine\n', '2:1 condition'],
    ['too many cells', 'a.csv', 'position,part,profile\nP01,C1,x,y\n', '3 cells'],
    ['a position twice', 'a.csv', 'position,part,profile\nP01,C1,x\nP01,C2,x\n', '3:1 position: expected each position once, got "P01" again'],
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

describe('CSV', () => {
  it('gives back any cells that were written the RFC 4180 way', () => {
    const cell = fc.string({
      unit: fc.constantFrom(...'ab",;\n\' é'), maxLength: 8
    }).filter(text => text.trim() !== '')
    fc.assert(fc.property(fc.array(
      fc.array(cell, { minLength: 2, maxLength: 4 }), { minLength: 1, maxLength: 5 }
    ), rows => {
      const quoted = (text: string): string => `"${text.replaceAll('"', '""')}"`
      const text = `head,line\n${rows.map(row => row.map(quoted).join(',')).join('\r\n')}`
      expect(csvRecords(text).slice(1).map(record => record.cells)).toEqual(rows)
    }))
  })
})
