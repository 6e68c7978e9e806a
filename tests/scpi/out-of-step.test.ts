/** Goal: promise 2, no number lies: an answer is never given to a question it does not belong to. */
import { describe, expect, it } from 'vitest'
import type { BenchError } from '../../src/base/errors.ts'
import { SeededRandom } from '../../src/base/random.ts'
import { bench } from './bench.ts'

describe('a session and an unreliable instrument', () => {
  it('never takes the answer to one question for the answer to another', async () => {
    let answered = 0
    let lost = 0
    for (let seed = 0; seed < 250; seed++) {
      const random = new SeededRandom(seed)
      const { session, device, run, clock } = bench({ quietMs: 20, pacingMs: random.pick([0, 5]) })
      // It works through its lines in order and answers in order, now and then far too late or not at all.
      let freeAtMs = 0
      device.handler = (line, reply, self) => {
        const answer = line.startsWith('ID') ? line.slice(2, -1) : self.answer(line)
        const tookMs = random.next() < 0.1 ? random.uniform(300, 900) : random.uniform(0, 3)
        freeAtMs = Math.max(freeAtMs, clock.monotonicMs()) + tookMs
        if (answer === null || random.next() < 0.03) return true
        const cut = random.integer(0, answer.length)
        clock.after(freeAtMs - clock.monotonicMs(), () => reply(answer.slice(0, cut)))
        freeAtMs += 0.5
        clock.after(freeAtMs - clock.monotonicMs(), () => reply(`${answer.slice(cut)}\r\n`))
        return true
      }
      const connect = (): Promise<void> => session.connect().catch(() => {})
      await run(connect())
      for (let id = 0; id < 40; id++) {
        if (session.state === 'down') await run(connect())
        const got = await run(session.query(`ID${id}?`).catch((e: BenchError) => { lost++; return e.code }))
        if (/^\d/.test(got)) answered++
        expect(/^\d/.test(got) ? got : String(id), `seed ${seed}`).toBe(String(id))
      }
    }
    expect(answered).toBeGreaterThan(5000)
    expect(lost).toBeGreaterThan(200)
  })
})
