/** A session that compensates its jig: empty and wire come first, and nothing else is measured before. */
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { zeroNames, type ZeroName } from '../../src/screening/session.ts'
import { action, finish, Hands } from './session-hands.ts'

describe('a session that compensates its jig', () => {
  const compensating = (): Hands => new Hands(['R1'], ['S1'], 5, [], zeroNames)

  it('measures the jig as soon as it is seen empty, then asks for the wire, and then for standards and parts', () => {
    const hands = compensating()
    expect(hands.of('tell').map(({ text }) => text)).toEqual(['leave the jig empty'])
    hands.look(100, 20)
    expect(hands.of('measure')).toEqual([])
    hands.look(Infinity, 2)
    expect(hands.of('measure')).toMatchObject([{ asked: { what: 'empty jig' } }])
    hands.zeroed()
    // Nothing has to leave first.
    expect(hands.of('tell').at(-1)!.text).toBe('the shorting wire across 1 and 2')
    hands.look(0.02, 6)
    expect(hands.of('measure')).toMatchObject([{}, { asked: { what: 'shorting wire' } }])
    hands.zeroed()
    hands.look(0.02, 20)
    expect(hands.asked).toBe('shorting wire')
    hands.look(Infinity, 2)
    expect(hands.asked).toBe('S1')
  })

  it('waits where something lies in the jig that is not seen, until it has gone or a person says so', () => {
    const hands = compensating()
    hands.look(Infinity, 2)
    hands.zeroed({ ok: false })
    expect(hands.of('tell').at(-1)).toMatchObject({ tone: 'attention', about: 'empty jig' })
    hands.look(Infinity, 50)
    expect(hands.of('measure')).toHaveLength(1)
    hands.look(100, 3)
    hands.look(Infinity, 2)
    expect(hands.of('measure')).toHaveLength(2)
    hands.feed({ type: 'failed', says: 'no answer' })
    hands.look(Infinity, 50)
    expect(hands.of('measure')).toHaveLength(2)
    hands.feed({ type: 'person', does: 'measure' })
    hands.zeroed()
    expect(hands.asked).toBe('shorting wire')
  })

  it('asks for the wire again where it was none, or left while it was measured', () => {
    const hands = compensating()
    hands.look(Infinity, 2)
    hands.zeroed()
    hands.look(100, 6)
    hands.zeroed({ ok: false })
    hands.look(100, 20)
    expect(hands.of('measure')).toHaveLength(2)
    hands.look(Infinity, 2)
    hands.look(0.02, 6)
    hands.look(Infinity, 2)
    hands.zeroed()
    expect([hands.asked, hands.of('tell').at(-2)?.text]).toEqual(['shorting wire', 'the shorting wire left the jig while it was measured'])
  })

  it('measures once what a person had measured in place of the empty jig has gone', () => {
    const hands = compensating()
    hands.look(100, 3)
    hands.feed({ type: 'person', does: 'measure' })
    hands.zeroed({ ok: false })
    hands.look(Infinity, 2)
    expect(hands.of('measure')).toHaveLength(2)
  })

  it('takes nothing for the empty jig that came in while it was measured', () => {
    const hands = compensating()
    hands.look(Infinity, 2)
    hands.look(100, 2)
    hands.zeroed()
    expect(hands.asked).toBe('empty jig')
  })

  it('has neither skipped, kept, undone nor measured again, and measures nothing while it is paused', () => {
    const hands = compensating()
    for (const _ of zeroNames) {
      for (const does of ['skip', 'keep', 'undo', 'again', 'second opinion', 'plus at 1'] as const) {
        expect(hands.feed({ type: 'person', does })).toMatchObject([{ do: 'refuse' }])
      }
      hands.feed({ type: 'person', does: 'pause' })
      const before = hands.of('measure').length
      hands.look(Infinity, 3)
      if (hands.asked === 'shorting wire') hands.look(0.02, 6)
      expect(hands.of('measure')).toHaveLength(before)
      hands.feed({ type: 'person', does: 'resume' })
      hands.look(hands.asked === 'shorting wire' ? 0.02 : Infinity)
      expect(hands.of('measure')).toHaveLength(before + 1)
      hands.zeroed()
    }
  })

  it.each([true, false])('ends after what is measured when a person ends it, ok: %s', ok => {
    const hands = compensating()
    hands.look(Infinity, 2)
    hands.feed({ type: 'person', does: 'end' })
    expect(hands.of('end')).toEqual([])
    hands.zeroed({ ok })
    expect([hands.of('end').length, hands.state.mode.is]).toEqual([1, 'done'])
  })

  it('says it for attention where it has drifted', () => {
    const hands = compensating()
    hands.look(Infinity, 2)
    hands.zeroed({ warns: true })
    expect(hands.of('tell').at(-2)).toMatchObject({ tone: 'attention', about: 'empty jig' })
  })

  it('asks for nothing where no part is open', () => {
    const hands = new Hands(['R1'], [], 5, ['R1'], zeroNames)
    expect([hands.state.mode.is, hands.of('tell')]).toEqual(['done', []])
  })
})

describe('whatever hands and people do to a jig that is to be compensated', () => {
  it('asks for no part and no standard before the empty jig and the wire are through, in that order, and gets there', () => {
    fc.assert(fc.property(fc.array(action, { maxLength: 60 }), actions => {
      const hands = new Hands(['A', 'B'], ['S1'], 3, [], zeroNames)
      const through: string[] = []
      for (const one of actions) {
        const { mode } = hands.state
        const isIts = mode.is === 'asked' && mode.phase === 'measuring'
        if (one.kind === 'put') hands.look(Infinity, 3)
        else if (one.kind === 'look') hands.look(one.ohm, 4)
        else if (one.kind === 'fail') hands.feed({ type: 'failed', says: 'no answer' })
        else if (one.kind === 'deed') hands.feed({ type: 'person', does: one.does })
        else if (one.kind === 'zeroed') {
          const seen = mode.is === 'asked' && (mode.forced || (mode.contact.is === 'empty') === (mode.asked.what === 'empty jig'))
          if (isIts && one.ok && seen) through.push(mode.asked.what)
          hands.zeroed({ ok: one.ok })
        }
        const first = hands.of('measure').find(({ asked }) => asked.what === 'part' || asked.what === 'standard')
        if (first) expect(through.slice(0, 2)).toEqual(zeroNames)
        const called = hands.of('tell').filter(({ tone, about }) => tone === 'ask' && !zeroNames.includes(about as ZeroName))
        if (through.length < 2) expect(called).toEqual([])
      }
      finish(hands)
      expect([hands.state.mode.is, [...hands.kept].sort()]).toEqual(['done', ['A', 'B']])
    }), { numRuns: 300 })
  })
})
