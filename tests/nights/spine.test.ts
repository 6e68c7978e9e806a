import { beforeAll, describe, expect, it } from 'vitest'
import { scenarioHealthyRack } from '../../mocks/bench/scenarios.ts'
import { virtualBench } from './virtual-bench.ts'

/** Four cans, a short soak: the whole stack from proof of dead to grades. */
async function chainHead(seed: number, halfWay: () => void = () => {}): Promise<string> {
  const bench = await virtualBench(scenarioHealthyRack(4, seed), seed)
  bench.clock.after(3_600_000, halfWay)
  const run = await bench.night({ parameters: { soakS: 60 } })
  expect(run.state).toBe('done')
  const head = await bench.store.chainHead(run.id)
  expect(await bench.store.verifyChain(run.id)).toBeNull()
  await bench.clock.run(bench.daemon.close())
  return head
}

/** What keeps a process alive, counted by kind; the test runner has handles of its own. */
function liveHandles(): Record<string, number> {
  const counts: Record<string, number> = {}
  for (const kind of process.getActiveResourcesInfo()) counts[kind] = (counts[kind] ?? 0) + 1
  return counts
}

describe('a night in virtual time', () => {
  let before: Record<string, number> = {}
  const later: [when: string, handles: Record<string, number>][] = []
  const heads: string[] = []
  let other = ''

  beforeAll(async () => {
    before = liveHandles()
    const look = (when: string) => (): void => { later.push([when, liveHandles()]) }
    for (let i = 0; i < 3; i++) heads.push(await chainHead(21, look('an hour into it')))
    other = await chainHead(22)
    look('after it')()
  }, 120_000)

  it('ends with the same record to the last bit, each time the seed is the same', () => {
    expect(heads[0]).toMatch(/^[0-9a-f]{64}$/)
    expect(heads).toEqual([heads[0], heads[0], heads[0]])
  })

  it('ends with another record for another seed', () => {
    expect(other).toMatch(/^[0-9a-f]{64}$/)
    expect(other).not.toBe(heads[0])
  })

  it('holds no socket, process, worker or real timer, neither in the night nor after it', () => {
    expect(later.map(([when]) => when)).toEqual([...Array<string>(3).fill('an hour into it'), 'after it'])
    for (const [when, handles] of later) {
      for (const [kind, count] of Object.entries(handles)) {
        expect(count, `${kind} ${when}`).toBeLessThanOrEqual(before[kind] ?? 0)
      }
    }
  })
})
