/** The shell around the session machine, with hands and a jig in virtual time. */
import { describe, expect, it } from 'vitest'
import { VirtualClock } from '../../src/base/clock.ts'
import { BenchError } from '../../src/base/errors.ts'
import { usualContact } from '../../src/screening/contact.ts'
import type { Verdict } from '../../src/screening/grade.ts'
import { LedSession, type SessionPorts } from '../../src/screening/lead-session.ts'
import { beginSession, zeroNames, type Asked, type ZeroName } from '../../src/screening/session.ts'

const contact = { ...usualContact, openOhm: 1e6 }
const verdictOf = (id: string): Verdict => ({
  id, grade: 'accept', disposition: 'use', pConform: 1, reason: '', criteria: [], figures: {}, notes: [], says: `${id} good`, strange: false, looksLike: null,
})

/** Hands that put in what is asked for, and take it out when it is told. */
class Bench {
  readonly clock = new VirtualClock()
  readonly log: string[] = []
  inJig = false
  failures = 0
  readonly ports: SessionPorts = {
    clock: this.clock, lookEveryMs: 100,
    look: async () => ({ atMs: this.clock.monotonicMs(), ohm: this.inJig ? 100 : Infinity, noiseOhm: 0.01 }),
    prove: async asked => {
      this.log.push(`prove ${asked.id}`)
      if (this.failures-- > 0) throw new BenchError('LINK_TIMEOUT', 'the meter gave no answer')
      return verdictOf(asked.id)
    },
    checkStandard: async ({ id }) => ({ inControl: true, says: `${id} in control` }),
    zero: async what => {
      this.log.push(`zero ${what}`)
      if (this.failures-- > 0) throw new BenchError('LINK_TIMEOUT', 'the bridge gave no answer')
      return { ok: true, says: `${what} was read` }
    },
    keep: async ({ id }, opinion) => { this.log.push(`keep ${id} ${opinion}`) },
    withdraw: async id => { this.log.push(`withdraw ${id}`) },
    flag: async ids => { this.log.push(`flag ${ids.join(' ')}`) },
    tell: (tone, text) => {
      this.log.push(`${tone}: ${text}`)
      this.clock.after(1000, () => { this.inJig = tone === 'ask' && text !== 'leave the jig empty' })
    },
  }

  session(
    ids: string[], standards: string[] = [], signal = new AbortController().signal, zeros: readonly ZeroName[] = [],
  ): LedSession {
    const asked = (what: Asked['what']) => (id: string): Asked => ({ what, id, contact })
    return new LedSession(beginSession({
      parts: ids.map(asked('part')), standards: standards.map(asked('standard')), standardsEvery: 50,
      zeros: zeros.map(what => asked(what)(what)),
    }), this.ports, signal)
  }
}

describe('a led session', () => {
  it('asks, proves, keeps before it tells, and ends', async () => {
    const bench = new Bench()
    await bench.clock.run(bench.session(['R1', 'R2'], ['S1']).run())
    expect(bench.log).toEqual([
      'ask: standard S1', 'good: S1 in control', 'ask: R1', 'prove R1', 'keep R1 first', 'good: R1 good',
      'ask: R2', 'prove R2', 'keep R2 first', 'good: R2 good', 'ask: standard S1', 'good: S1 in control',
    ])
  })

  it('asks for a part again when the instruments failed, and keeps nothing of it', async () => {
    const bench = new Bench()
    bench.failures = 1
    const session = bench.session(['R1'])
    // The hands take the part out when they hear of the failure.
    await bench.clock.run(session.run())
    expect(bench.log.filter(line => line.startsWith('keep'))).toEqual(['keep R1 first'])
    expect(bench.log.find(line => line.startsWith('attention'))).toMatch(/no answer/)
  })

  it('has the empty jig and the wire measured before anything else, and again where the instruments failed', async () => {
    const bench = new Bench()
    bench.failures = 1
    const session = bench.session(['R1'], ['S1'], new AbortController().signal, zeroNames)
    // Nothing is seen in an empty jig whose bridge failed: a person says to measure.
    bench.clock.after(10_000, () => { expect(session.do('measure')).toBeNull() })
    await bench.clock.run(session.run())
    expect(bench.log).toEqual([
      'ask: leave the jig empty', 'zero empty jig', 'attention: the bridge gave no answer', 'zero empty jig', 'good: empty jig was read',
      'ask: the shorting wire across 1 and 2', 'zero shorting wire', 'good: shorting wire was read', 'ask: standard S1', 'good: S1 in control',
      'ask: R1', 'prove R1', 'keep R1 first', 'good: R1 good', 'ask: standard S1', 'good: S1 in control',
    ])
  })

  it('ends at once when it is aborted, also while it waits', async () => {
    const bench = new Bench()
    const stop = new AbortController()
    bench.ports.tell('bad', 'nothing is put in', 'R1')
    const session = bench.session(['R1'], [], stop.signal)
    bench.clock.after(500, () => stop.abort(new Error('stopped')))
    await expect(bench.clock.run(session.run())).rejects.toThrow('stopped')
    expect(bench.clock.monotonicMs()).toBeLessThan(700)
  })

  it('lets no result be told that could not be kept', async () => {
    const bench = new Bench()
    const session = new LedSession(
      beginSession({ parts: [{ what: 'part', id: 'R1', contact }], standards: [], standardsEvery: 50 }),
      { ...bench.ports, keep: async () => { throw new BenchError('STORE', 'the disk is full') } }, new AbortController().signal)
    await expect(bench.clock.run(session.run())).rejects.toThrow('disk is full')
    expect(bench.log.some(line => line.startsWith('good'))).toBe(false)
  })

  it('takes a result back when a person says so while the next is asked for', async () => {
    const bench = new Bench()
    const session = bench.session(['R1', 'R2'])
    let undone = false
    const tell = bench.ports.tell
    const ports: SessionPorts = { ...bench.ports, tell: (tone, text, about) => {
      tell(tone, text, about)
      if (text === 'R2' && !undone) { undone = true; expect(once.do('undo')).toBeNull() }
    } }
    const once = new LedSession(beginSession({ parts: ['R1', 'R2'].map(id => ({ what: 'part' as const, id, contact })), standards: [], standardsEvery: 50 }), ports, new AbortController().signal)
    await bench.clock.run(once.run())
    expect(bench.log.filter(line => /keep|withdraw/.test(line))).toEqual(['keep R1 first', 'withdraw R1', 'keep R1 first', 'keep R2 first'])
    expect(session.do('keep')).toMatch(/doubt/)
  })
})
