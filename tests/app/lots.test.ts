/** Lots on a thread of their own: the answer and what is refused come back as they are, and one job at a time. */
import { describe, expect, it } from 'vitest'
import { RealClock, VirtualClock } from '../../src/base/clock.ts'
import { Lots, lotThreads } from '../../src/app/lots.ts'
import { doLotJob } from '../../src/app/lots-work.ts'
import { compareRequest, matchRequest } from '../../src/schema/lots.ts'
import { openInlineStore } from '../../src/store/inline.ts'
import { criterion, result, runOf } from '../report/lot-fixture.ts'

const store = openInlineStore(':memory:')
for (const id of ['A', 'B']) {
  await store.createRun(runOf(id, []).run, [])
  for (let i = 0; i < 8; i++) await store.saveResult(id, result(`${id}${i}`, [criterion(100 + i * i)]))
}
const asked = matchRequest.parse({ runs: ['A', 'B'], by: [{ quantity: 'gain' }] })

describe('lots', () => {
  it('come back from their thread as they would be reckoned here', async () => {
    const there = await new Lots(store, lotThreads(new RealClock())).match(asked)
    expect(there).toEqual(await new Lots(store, async job => doLotJob(job)).match(asked))
    expect(there.sets).toHaveLength(8)
  })
  it('refuse with the same words from there', async () => {
    const lots = new Lots(store, lotThreads(new RealClock()))
    await expect(lots.compare(compareRequest.parse({ runs: ['A'] }))).rejects.toMatchObject({
      code: 'REFUSED', message: expect.stringContaining('there are no two lots to compare') as string,
    })
    await expect(lots.match({ ...asked, runs: ['C'] })).rejects.toMatchObject({ code: 'NOT_FOUND' })
  })
  it('are reckoned one at a time, and again afterwards', async () => {
    const lots = new Lots(store, lotThreads(new RealClock()))
    const first = lots.match(asked)
    await expect(lots.match(asked)).rejects.toMatchObject({ code: 'REFUSED' })
    await first
    expect((await lots.match(asked)).sets).toHaveLength(8)
  })
  it('are given up when they take too long', async () => {
    const clock = new VirtualClock()
    const lots = new Lots(store, lotThreads(clock, new URL('data:text/javascript,await new Promise(done => setTimeout(done, 1e9))') as unknown as string))
    const outcome = lots.match(asked).catch((error: unknown) => error)
    await clock.advance(120_001)
    expect(await outcome).toMatchObject({ code: 'REFUSED', message: expect.stringContaining('120 s') as string })
  })
})
