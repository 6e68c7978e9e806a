/** Goal: the same bytes give the same frames however they are cut; nothing grows without bound. */
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import type { Frame, FrameMode } from '../../src/scpi/framing.ts'
import { Framer } from '../../src/scpi/framing.ts'
import { hasCode } from '../../src/base/errors.ts'

const bytes = (text: string): Uint8Array => Buffer.from(text, 'latin1')

function frames(chunks: Uint8Array[], mode: FrameMode, bytesMax = 1000): { frames: Frame[]; overflow: boolean } {
  const framer = new Framer({ bytesMax })
  framer.expect(mode)
  const out: Frame[] = []
  try {
    for (const chunk of chunks) framer.push(chunk, frame => out.push(frame))
  } catch (error) {
    if (!hasCode(error, 'LINK_OVERFLOW')) throw error
    return { frames: out, overflow: true }
  }
  framer.quiet(frame => out.push(frame))
  return { frames: out, overflow: false }
}

const lines = (text: string, mode: FrameMode = 'line'): string[] =>
  frames([bytes(text)], mode).frames.map(f => f.kind === 'line' ? f.text : `block ${Buffer.from(f.bytes).toString('latin1')}`)

function cut(all: Uint8Array, places: number[]): Uint8Array[] {
  const ends = [...new Set([...places.map(p => p % (all.length + 1)), all.length])].sort((a, b) => a - b)
  return ends.map((end, i) => all.subarray(ends[i - 1] ?? 0, end))
}

/** Streams in which the characters that matter are likely. */
const stream = fc.array(fc.oneof(
  { weight: 3, arbitrary: fc.constantFrom(...'\n\n\r"",;#0123459 \0\xffaE') },
  { weight: 1, arbitrary: fc.constantFrom('#14', '#15a\nbc', '"x\ny"', '1.0\n', '#3005') },
), { maxLength: 60 }).map(parts => bytes(parts.join('')))

describe('framing', () => {
  it('gives the same frames for every way to cut the same bytes', () => {
    fc.assert(fc.property(stream, fc.array(fc.nat(200)), fc.constantFrom<FrameMode>('line', 'block'),
      fc.constantFrom(12, 1000), (all, places, mode, max) => {
        expect(frames(cut(all, places), mode, max)).toEqual(frames([all], mode, max))
        expect(frames([...all].map(b => Uint8Array.of(b)), mode, max)).toEqual(frames([all], mode, max))
      }), { numRuns: 2000 })
  })

  it('gives back every definite block that was sent, whatever its bytes', () => {
    fc.assert(fc.property(fc.uint8Array({ maxLength: 300 }), fc.nat(3), fc.array(fc.nat(400)), (data, zeros, places) => {
      const count = '0'.repeat(zeros) + String(data.length)
      const all = Buffer.concat([bytes(`#${count.length}${count}`), data, bytes('\r\n1.5\n')])
      const got = frames(cut(all, places), 'block').frames
      expect(got[0]).toEqual({ kind: 'block', head: '', bytes: new Uint8Array(data), tail: '\r' })
      expect(got[1]).toEqual({ kind: 'line', text: '1.5' })
    }))
  })

  it('keeps a line end inside a quoted string that begins a data item', () => {
    expect(lines('"a\nb"\n')).toEqual(['"a\nb"'])
    expect(lines('1,"a\n""b",2\nnext\n')).toEqual(['1,"a\n""b",2', 'next'])
  })

  it('does not take a quote in the middle of an item for the beginning of a string', () => {
    expect(lines('5" pipe\nnext\n')).toEqual(['5" pipe', 'next'])
    expect(lines('"a"\nb"\n')).toEqual(['"a"', 'b"'])
  })

  it('reads no block where a line was asked for', () => {
    expect(lines('#15a\nbcd\n')).toEqual(['#15a', 'bcd'])
  })

  it('gives a line where a block was asked for and none came', () => {
    expect(lines('-113,"Undefined header"\n', 'block')).toEqual(['-113,"Undefined header"'])
  })

  it('ends an indefinite block by silence after a line end, and not by a line end alone', () => {
    const framer = new Framer({ bytesMax: 100 })
    framer.expect('block')
    const out: Frame[] = []
    framer.push(bytes('#0ab\ncd'), f => out.push(f))
    framer.quiet(f => out.push(f))
    expect(out).toEqual([])
    framer.push(bytes('\n'), f => out.push(f))
    expect(out).toEqual([])
    expect(framer.openEnded).toBe(true)
    framer.quiet(f => out.push(f))
    expect(out).toEqual([{ kind: 'block', head: '', bytes: new Uint8Array(bytes('ab\ncd')), tail: '' }])
    expect(framer.partial).toBe(false)
  })

  it('refuses a line one byte over the limit and takes one at the limit', () => {
    expect(frames([bytes(`${'x'.repeat(100)}\n`)], 'line', 100).overflow).toBe(false)
    expect(frames([bytes(`${'x'.repeat(101)}\n`)], 'line', 100).overflow).toBe(true)
    expect(frames([bytes('x'.repeat(101))], 'line', 100).overflow).toBe(true)
  })

  it('refuses a block by its count, before the bytes come', () => {
    expect(frames([bytes('#9999999999')], 'block', 1000).overflow).toBe(true)
    expect(frames([bytes('#3989')], 'block', 1000).overflow).toBe(false)
  })

  it('ends at CR where the instrument ends its answers so', () => {
    const framer = new Framer({ bytesMax: 100, terminator: '\r' })
    const out: Frame[] = []
    framer.push(bytes('1\r2\r'), f => out.push(f))
    expect(out.map(f => f.kind === 'line' && f.text)).toEqual(['1', '2'])
  })

  it('drops half a line when something new is asked for', () => {
    const framer = new Framer({ bytesMax: 100 })
    const out: Frame[] = []
    framer.push(bytes('old'), f => out.push(f))
    expect([framer.partial, framer.heldText]).toEqual([true, 'old'])
    framer.expect('line')
    framer.push(bytes('new\n'), f => out.push(f))
    expect(out).toEqual([{ kind: 'line', text: 'new' }])
  })
})
