/** The session machine of a tray: whatever comes, nothing is kept that should not be, and nothing twice. */
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { deeds } from '../../src/schema/screening.ts'
import { beginTray, stepTray } from '../../src/screening/tray-session.ts'
import type { TrayEffect, TrayInput, TrayStage, TrayState } from '../../src/screening/tray-state.ts'

const ids = ['A', 'B', 'C', 'D']
const stages: TrayStage[] = [
  { is: 'empty tray' },
  { is: 'parts', laying: 1, of: 1, leads: 'clips', slots: [
    { position: 'T01', what: 'standard', id: 'S1', done: false },
    ...ids.map((id, i) => ({ position: `T0${i + 2}`, what: 'part' as const, id, done: false })),
  ] },
  { is: 'empty tray' },
]

class Run {
  state: TrayState
  readonly effects: TrayEffect[]
  constructor() {
    const { state, effects } = beginTray(stages)
    this.state = state
    this.effects = [...effects]
  }

  feed(input: TrayInput): readonly TrayEffect[] {
    const step = stepTray(this.state, input)
    this.state = step.state
    this.effects.push(...step.effects)
    return step.effects
  }

  /** Answers what is to be measured now. */
  answer(seen: 'good' | 'strange' | 'nothing' | 'still not', stuck: string | null = null): void {
    const [task] = this.state.queue
    if (this.state.phase !== 'working' || task === undefined) return
    if (task === 'open') return void this.feed({ type: 'open', stuck })
    const slot = this.state.slots.find(({ position }) => position === task.position)!
    const outcome = { id: slot.id, grade: 'accept' as const, says: `${slot.id}: good`, strange: seen === 'strange', looksLike: null }
    this.feed({
      type: 'seen', position: task.position, stuck, seen: slot.what === 'standard'
        ? { is: 'standard', inControl: seen !== 'strange', says: 'S1 read' }
        : seen === 'nothing' ? { is: 'nothing seen' } : seen === 'still not' ? { is: 'not still' } : { is: 'measured', outcome },
    })
  }

  get kept(): string[] {
    const kept: string[] = []
    for (const one of this.effects) {
      if (one.do === 'keep') kept.push(one.outcome.id)
      if (one.do === 'withdraw') kept.splice(kept.indexOf(one.id), 1)
      if (one.do === 'flag') for (const id of one.ids) kept.splice(kept.indexOf(id), 1)
    }
    return kept
  }
}

const input = fc.oneof(
  { weight: 8, arbitrary: fc.record({ kind: fc.constant('answer' as const), seen: fc.constantFrom('good' as const, 'good' as const, 'strange' as const, 'nothing' as const, 'still not' as const), stuck: fc.constantFrom(null, null, null, null, '100 Ω') }) },
  { weight: 2, arbitrary: fc.record({ kind: fc.constant('zero' as const), is: fc.constantFrom('sound' as const, 'laid' as const, 'faulty' as const), forced: fc.boolean() }) },
  { weight: 5, arbitrary: fc.record({ kind: fc.constant('deed' as const), does: fc.constantFrom(...deeds.filter(deed => deed !== 'end')), at: fc.constantFrom(undefined, 'T01', 'T02', 'T03', 'T05') }) },
)

describe('a session at a tray', () => {
  it('measures each part once between two standards, all channels seen open first', () => {
    const run = new Run()
    run.feed({ type: 'zeroed', is: 'sound', says: 'empty', forced: false })
    run.feed({ type: 'person', does: 'laid' })
    while (run.state.phase === 'working') run.answer('good')
    const order = run.effects.flatMap(one => one.do === 'look open' ? ['open'] : one.do === 'measure' ? [one.slot.id] : [])
    expect(order).toEqual(['open', 'S1', 'A', 'B', 'C', 'D', 'S1'])
    expect(run.kept).toEqual(ids)
    run.feed({ type: 'zeroed', is: 'sound', says: 'empty', forced: false })
    expect(run.state.phase).toBe('done')
  })

  it('keeps nothing, and measures nothing more, where a channel is seen to stay closed', () => {
    const run = new Run()
    run.feed({ type: 'zeroed', is: 'sound', says: 'empty', forced: false })
    run.feed({ type: 'person', does: 'laid' })
    run.answer('good')
    run.answer('good')
    run.answer('good', '100 Ω')
    expect([run.state.phase, run.kept]).toEqual(['faulty', []])
    for (const does of ['laid', 'measure', 'keep', 'again'] as const) {
      expect(run.feed({ type: 'person', does, at: 'T02' })).toEqual([{ do: 'refuse', why: 'mend the cause, then say that it is adjusted' }])
    }
    run.feed({ type: 'person', does: 'adjusted' })
    // The channels are proven anew before anything is laid.
    expect(run.state.stages[run.state.at]).toEqual({ is: 'empty tray' })
  })

  it('keeps each part once at most, and none while channels are unsound, whatever comes', () => {
    fc.assert(fc.property(fc.array(input, { maxLength: 120 }), inputs => {
      const run = new Run()
      for (const one of inputs) {
        const isUnsound = run.state.phase === 'faulty' || run.state.phase === 'out of control'
        const before = run.effects.filter(effect => effect.do === 'keep').length
        if (one.kind === 'answer') run.answer(one.seen, one.stuck)
        else if (one.kind === 'zero') run.feed({ type: 'zeroed', is: one.is, says: 'read', forced: one.forced })
        else run.feed({ type: 'person', does: one.does, ...one.at === undefined ? {} : { at: one.at } })
        if (isUnsound) expect(run.effects.filter(effect => effect.do === 'keep')).toHaveLength(before)
        // A second opinion stands beside the first result.
        const firsts = new Set(run.kept)
        expect([...firsts].every(id => ids.includes(id))).toBe(true)
      }
      expect(run.feed({ type: 'person', does: 'end' }).length >= 0).toBe(true)
      if (run.state.phase === 'working') run.answer('good')
      expect(run.state.phase).toBe('done')
    }), { numRuns: 300 })
  })
})
