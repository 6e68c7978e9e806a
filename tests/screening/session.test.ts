/** The screening session: who is asked for when, and that no grade is kept that should not be. */
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { action, finish, Hands } from './session-hands.ts'

describe('a screening session', () => {
  it('asks for each part, measures it when it lies still, and ends when all have a result', () => {
    const hands = new Hands(['R1', 'R2', 'R3'])
    for (const ohm of [100, 220, 470]) hands.put(ohm)
    hands.look(Infinity, 3)
    expect(hands.kept).toEqual(['R1', 'R2', 'R3'])
    expect(hands.of('end')).toHaveLength(1)
    expect(hands.of('tell').filter(({ tone }) => tone === 'ask').map(({ text }) => text)).toEqual(['R1', 'R2', 'R3'])
  })

  it('measures nothing that was in the jig before it was asked for', () => {
    const hands = new Hands(['R1'])
    hands.look(100, 50)
    expect(hands.of('measure')).toEqual([])
    hands.put(100)
    expect(hands.kept).toEqual(['R1'])
  })

  it('waits for the next part until the last one was seen to go', () => {
    const hands = new Hands(['R1', 'R2'])
    hands.put(100)
    hands.look(100, 50)
    expect(hands.of('measure')).toHaveLength(1)
    expect(hands.asked).toBe('R1')
  })

  it('does not measure a part that is still being moved', () => {
    const hands = new Hands(['R1'])
    hands.look(Infinity, 3)
    for (let i = 0; i < 40; i++) hands.look(100 * (1 + 0.1 * (i % 2)))
    expect(hands.of('measure')).toEqual([])
    hands.look(100, 4)
    expect(hands.of('measure')).toHaveLength(1)
  })

  it('keeps no result of a part that left while it was measured, unless a person had it measured', () => {
    const hands = new Hands(['R1'])
    hands.look(Infinity, 3)
    hands.look(100, 6)
    hands.look(Infinity, 3)
    hands.answer()
    expect(hands.kept).toEqual([])
    expect(hands.asked).toBe('R1')
    // An open part cannot be seen.
    hands.look(Infinity, 3)
    hands.feed({ type: 'person', does: 'measure' })
    hands.answer({ grade: 'reject', says: 'R1 is open' })
    expect(hands.kept).toEqual(['R1'])
  })

  it('asks a person about a part that is not what was asked for, and keeps it only then', () => {
    const hands = new Hands(['R1', 'R2'])
    hands.put(220, { grade: 'reject', strange: true, looksLike: 'R2', says: '220 ohm, not 100 ohm' })
    expect(hands.kept).toEqual([])
    expect(hands.of('tell').at(-1)!.text).toContain('R2')
    hands.look(Infinity, 3)
    expect(hands.state.mode.is).toBe('in doubt')
    hands.feed({ type: 'person', does: 'keep' })
    expect(hands.kept).toEqual(['R1'])
  })

  it('asks for standards at the start, after so many parts, and at the end', () => {
    const hands = new Hands(['R1', 'R2', 'R3'], ['S1', 'S2'], 2)
    const order: (string | null)[] = []
    for (let i = 0; i < 9; i++) { order.push(hands.asked); hands.put(100); hands.look(Infinity, 2) }
    expect(order).toEqual(['S1', 'S2', 'R1', 'R2', 'S1', 'S2', 'R3', 'S1', 'S2'])
    expect(hands.state.mode.is).toBe('done')
  })

  it('flags what was graded since, and grades nothing, while a standard is out of control', () => {
    const hands = new Hands(['R1', 'R2', 'R3', 'R4'], ['S1'], 2)
    hands.put(1000)
    hands.put(100)
    hands.put(100)
    hands.look(Infinity, 2)
    hands.look(1000, 6)
    hands.feed({ type: 'standard', id: 'S1', inControl: false, says: 'S1 reads 3 sigma high' })
    expect(hands.of('flag')).toEqual([{ do: 'flag', ids: ['R1', 'R2'], standard: 'S1' }])
    const before = hands.kept.length
    hands.put(100)
    hands.feed({ type: 'person', does: 'measure' })
    hands.feed({ type: 'person', does: 'undo' })
    expect(hands.kept).toHaveLength(before)
    hands.feed({ type: 'person', does: 'adjusted' })
    expect(hands.asked).toBe('S1')
    hands.put(1000)
    hands.look(Infinity, 2)
    expect(hands.asked).toBe('R3')
  })

  it('takes a result back and asks for its part, and then for the one that waited', () => {
    const hands = new Hands(['R1', 'R2', 'R3'])
    hands.put(100)
    hands.look(Infinity, 3)
    expect(hands.asked).toBe('R2')
    hands.feed({ type: 'person', does: 'undo' })
    expect(hands.asked).toBe('R1')
    expect(hands.kept).toEqual([])
    hands.put(100)
    hands.look(Infinity, 2)
    expect(hands.asked).toBe('R2')
  })

  it('puts a second result beside the first, and replaces it when measured again', () => {
    const hands = new Hands(['R1'])
    hands.put(100)
    hands.feed({ type: 'person', does: 'second opinion' })
    hands.answer({ says: 'R1 good again' })
    expect(hands.of('keep')).toHaveLength(2)
    expect(hands.of('withdraw')).toEqual([])
    hands.feed({ type: 'person', does: 'again' })
    hands.answer()
    expect(hands.of('withdraw')).toEqual([{ do: 'withdraw', id: 'R1' }])
    expect(hands.kept).toEqual(['R1'])
  })

  it('goes on where it was, with its standards first', () => {
    const hands = new Hands(['R1', 'R2', 'R3'], ['S1'], 10, ['R1'])
    expect(hands.asked).toBe('S1')
    hands.put(1000)
    hands.look(Infinity, 2)
    expect(hands.asked).toBe('R2')
  })

  it.each([
    ['a result', (hands: Hands) => hands.answer(), ['R1']],
    ['a failure', (hands: Hands) => hands.feed({ type: 'failed', says: 'no answer' }), []],
    ['a doubt that is kept', (hands: Hands) => {
      hands.answer({ strange: true, grade: 'reject' })
      expect([hands.asked, hands.of('end')]).toEqual(['R1', []])
      hands.feed({ type: 'person', does: 'keep' })
    }, ['R1']],
    ['a doubt that is put off', (hands: Hands) => {
      hands.answer({ strange: true, grade: 'reject' })
      hands.feed({ type: 'person', does: 'skip' })
    }, []],
  ] as const)('that is ended while a part is measured stays on it until %s, and asks for nothing more', (_what, through, kept) => {
    const hands = new Hands(['R1', 'R2'])
    hands.look(Infinity, 3)
    hands.look(100, 6)
    for (const _ of [1, 2]) expect(hands.feed({ type: 'person', does: 'end' })).toEqual([])
    hands.look(100, 30)
    expect([hands.asked, hands.of('end')]).toEqual(['R1', []])
    through(hands)
    expect(hands.effects.at(-1)).toEqual({ do: 'end' })
    expect([hands.state.mode.is, hands.kept]).toEqual(['done', kept])
    expect(hands.of('tell').some(({ text }) => text === 'R2')).toBe(false)
  })

  it.each([true, false])('that is ended while a standard is measured ends after it, in control: %s', inControl => {
    const hands = new Hands(['R1'], ['S1'])
    hands.look(Infinity, 3)
    hands.look(1000, 6)
    hands.feed({ type: 'person', does: 'end' })
    expect(hands.asked).toBe('S1')
    hands.feed({ type: 'standard', id: 'S1', inControl, says: 'S1 was read' })
    expect(hands.effects.slice(-2)).toMatchObject([{ do: 'tell' }, { do: 'end' }])
  })

  it('ends at once where nothing is measured', () => {
    const hands = new Hands(['R1', 'R2'])
    hands.put(100)
    expect(hands.feed({ type: 'person', does: 'end' })).toEqual([{ do: 'end' }])
  })

  it('says of each word whom it is about, also when another part is in hand by then', () => {
    const hands = new Hands(['R1', 'R2'])
    hands.look(Infinity, 3)
    hands.put(100)
    hands.look(Infinity, 3)
    expect(hands.of('tell').map(({ text, about }) => [text, about])).toEqual([['R1', 'R1'], ['R1 good', 'R1'], ['R2', 'R2']])
  })

  it('says nothing and measures nothing while it is paused', () => {
    const hands = new Hands(['R1'])
    hands.look(Infinity, 3)
    hands.feed({ type: 'person', does: 'pause' })
    hands.look(100, 30)
    expect(hands.of('measure')).toEqual([])
    hands.feed({ type: 'person', does: 'resume' })
    hands.look(100)
    expect(hands.of('measure')).toHaveLength(1)
  })
})

describe('whatever hands and people do', () => {
  it('gives every part one result at most at a time, none while standards are out of control, and loses none', () => {
    fc.assert(fc.property(fc.array(action, { maxLength: 120 }), actions => {
      const ids = ['A', 'B', 'C', 'D', 'E', 'F']
      const hands = new Hands(ids, ['S1', 'S2'], 3)
      for (const one of actions) {
        const out = hands.state.mode.is === 'out of control'
        const before = hands.of('keep').length
        if (one.kind === 'put') hands.put(100, { strange: one.strange })
        else if (one.kind === 'look') hands.look(one.ohm)
        else if (one.kind === 'fail') hands.feed({ type: 'failed', says: 'no answer' })
        else if (one.kind === 'deed') hands.feed({ type: 'person', does: one.does })
        else if (one.kind === 'zeroed') hands.zeroed({ ok: one.ok })
        else if (hands.state.mode.is === 'asked' && hands.state.mode.asked.what === 'standard') {
          hands.feed({ type: 'standard', id: hands.state.mode.asked.id, inControl: false, says: 'drifted' })
        }
        if (out && hands.state.mode.is === 'out of control') expect(hands.of('keep').length).toBe(before)
        expect(new Set(hands.kept).size).toBe(hands.kept.length)
        // Between standards there are never more parts than were agreed on, beside one that was asked for again.
        expect(hands.state.since.length).toBeLessThanOrEqual(4)
      }
      finish(hands)
      expect(hands.state.mode.is).toBe('done')
      const flagged = new Set(hands.of('flag').flatMap(one => one.ids))
      expect([...hands.kept].sort()).toEqual(ids)
      for (const id of flagged) expect(ids).toContain(id)
    }), { numRuns: 300 })
  })
})
