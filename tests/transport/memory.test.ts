/** Goal: the link of virtual nights keeps the same promises as a real one. */
import { describe, expect, it } from 'vitest'
import { VirtualClock } from '../../src/base/clock.ts'
import { memoryLink } from '../../src/transport/memory.ts'

function pair(latencyMs?: number) {
  const clock = new VirtualClock()
  const seen: string[] = []
  const link = memoryLink(clock, {
    onBytes: (chunk, reply) => { seen.push(Buffer.from(chunk).toString('latin1')); reply('ok\n') },
    onOpen: () => seen.push('<open>'), onClose: () => seen.push('<close>'),
  }, latencyMs === undefined ? {} : { latencyMs })
  const transport = link.open()
  const got: string[] = []
  const ends: (string | undefined)[] = []
  transport.onBytes(chunk => got.push(Buffer.from(chunk).toString('latin1')))
  transport.onClose(error => ends.push(error?.code))
  return { clock, link, transport, seen, got, ends }
}

describe('a memory link', () => {
  it('delivers at once, or after its latency and in order', async () => {
    const now = pair()
    await now.transport.open()
    now.transport.write('a\xff')
    expect([now.seen, now.got]).toEqual([['<open>', 'a\xff'], ['ok\n']])
    const later = pair(5)
    await later.transport.open()
    later.transport.write('a')
    await later.clock.advance(4.9)
    expect(later.got).toEqual([])
    await later.clock.advance(0.1)
    expect(later.got).toEqual(['ok\n'])
  })

  it('loses what is under way when the link ends, and says once that it ended', async () => {
    const { clock, link, transport, got, ends, seen } = pair(5)
    await transport.open()
    transport.write('a')
    link.unplug()
    link.unplug()
    await transport.close()
    await clock.advance(10)
    expect([got, ends]).toEqual([[], ['LINK_DOWN']])
    expect(seen.at(-1)).toBe('<close>')
    expect(() => transport.write('b')).toThrow(/down/)
    expect(seen).not.toContain('b')
  })

  it('serves one at a time and is free again after close', async () => {
    const { link, transport, ends } = pair()
    await transport.open()
    await expect(link.open().open()).rejects.toMatchObject({ code: 'LINK_BUSY' })
    await transport.close()
    expect(ends).toEqual([undefined])
    await link.open().open()
  })

  it('throws on a write before it is open, and refuses to open when told', async () => {
    const { link, transport } = pair()
    expect(() => transport.write('a')).toThrow(/down/)
    link.refuse = true
    await expect(transport.open()).rejects.toMatchObject({ code: 'LINK_OPEN' })
    await expect(transport.open()).rejects.toThrow(/opened once/)
  })
})
