/** Simulated hands and the person they belong to. */
import { describe, expect, it } from 'vitest'
import { drawDrawer, type Drawer } from '../../mocks/bench/drawer.ts'
import { Hands } from '../../mocks/bench/hands.ts'
import { JigBench } from '../../mocks/bench/jig-bench.ts'
import { Screener } from '../../mocks/bench/screener.ts'
import { VirtualClock } from '../../src/base/clock.ts'
import { SeededRandom } from '../../src/base/random.ts'

interface Table {
  clock: VirtualClock; bench: JigBench; drawer: Drawer; hands: Hands; screener: Screener
  /** What was said, and what really lay in the jig and when. */
  said: string[]; lay: { atMs: number; part: string | null }[]
  wait(ms: number): Promise<void>
}

/** A seed whose mix-up is of `asked`, where one is wanted. */
function table(seed = 1): Table {
  const clock = new VirtualClock()
  const bench = new JigBench({ clock, seed, instant: true })
  const drawer = drawDrawer(seed)
  const nameOf = new Map([...drawer.parts].map(([name, part]) => [part, name]))
  const lay: Table['lay'] = []
  const put = bench.put.bind(bench)
  bench.put = part => { lay.push({ atMs: clock.monotonicMs(), part: part && nameOf.get(part)! }); put(part) }
  const random = new SeededRandom(seed)
  const hands = new Hands({ bench, clock, find: drawer.find, random })
  const said: string[] = []
  const screener = new Screener({ hands, clock, drawer, random, say: deed => { said.push(deed); return Promise.resolve() } })
  return {
    clock, bench, drawer, hands, screener, said, lay,
    wait: ms => clock.run(new Promise<void>(resolve => clock.after(ms, resolve))),
  }
}

const asking = (asked: string) => ({ asked, stands: 'asking' })
/** Which part the person mixes up first, found by asking for every resistor. */
async function mixedUp(seed: number): Promise<{ asked: string; table: Table }> {
  for (const name of drawDrawer(seed).parts.keys()) {
    const one = table(seed)
    one.screener.hear(asking(name))
    await one.wait(3000)
    const [first] = one.lay.filter(({ part }) => part !== null)
    if (first!.part !== name) return { asked: name, table: one }
  }
  throw new Error('nothing was mixed up')
}

describe('hands', () => {
  it('put a part in within a second and a half, and some touches slip off at first', async () => {
    let slips = 0
    for (let seed = 1; seed <= 40; seed++) {
      const { hands, drawer, lay, bench, wait } = table(seed)
      hands.put(drawer.find('C1')!)
      await wait(3000)
      expect(lay[0]!.atMs).toBeGreaterThan(500)
      expect(lay[0]!.atMs).toBeLessThan(1500)
      expect(bench.part).toBe(drawer.find('C1'))
      if (lay.length === 3) { slips++; expect(lay[2]!.atMs - lay[0]!.atMs).toBeLessThan(330) }
    }
    expect(slips).toBeGreaterThan(2)
    expect(slips).toBeLessThan(20)
  })

  it('take out what lies there before another part goes in', async () => {
    const { hands, drawer, lay, wait } = table()
    hands.put(drawer.find('C1')!)
    await wait(3000)
    hands.put(drawer.find('C2')!)
    await wait(3000)
    const from = lay.findLastIndex(({ part }) => part === 'C1')
    expect(lay.slice(from).map(({ part }) => part).slice(0, 3)).toEqual(['C1', null, 'C2'])
  })
})

describe('the person at the jig', () => {
  it('brings what is asked for once, and takes it out at the outcome', async () => {
    const { screener, bench, drawer, wait, said } = table()
    screener.hear(asking('C1'))
    await wait(3000)
    screener.hear(asking('C1'))
    await wait(500)
    expect(bench.part).toBe(drawer.find('C1'))
    screener.hear({ asked: 'C1', stands: 'leaving' })
    await wait(1500)
    expect(bench.part).toBeNull()
    expect(said).toEqual([])
  })

  it('has it measured where nothing is told, and puts it off where that does not help; then ends', async () => {
    const { screener, wait, said } = table()
    screener.hear(asking('C1'))
    await wait(40_000)
    expect(said).toEqual(['measure', 'measure', 'measure', 'skip'])
    screener.hear(asking('C2'))
    screener.hear(asking('C1'))
    await wait(40_000)
    expect(said.slice(4)).toEqual(['measure', 'measure', 'measure', 'end'])
  })

  it('skips what does not lie on the table, once', async () => {
    const { screener, wait, said } = table()
    screener.hear(asking('V1'))
    await wait(3000)
    screener.hear(asking('C1'))
    screener.hear(asking('V1'))
    await wait(3000)
    expect(said).toEqual(['skip', 'end'])
  })

  it('lets a doubtful outcome stand where the right part lies in the jig', async () => {
    const { screener, wait, said } = table()
    screener.hear(asking('C1'))
    await wait(3000)
    screener.hear({ asked: 'C1', stands: 'in doubt' })
    await wait(3000)
    expect(said).toEqual(['keep'])
  })

  it('says once where plus is, by the mark, when it is asked', async () => {
    const { screener, wait, said } = table()
    screener.hear(asking('C2'))
    await wait(3000)
    const doubt = { asked: 'C2', stands: 'in doubt', told: { tone: 'attention', text: 'C2: Look at its mark: plus at 1, plus at 2, keep or skip?' } }
    for (const _ of [1, 2]) {
      screener.hear(doubt)
      await wait(3000)
      screener.hear({ asked: 'C2', stands: 'measuring' })
    }
    expect(said).toEqual(['plus at 1', 'keep'])
  })

  it('puts the right part in where the wrong one was taken in hand, and has it measured again', async () => {
    const { asked, table: { screener, wait, said, bench, drawer } } = await mixedUp(1)
    expect(bench.part).not.toBe(drawer.find(asked))
    expect(screener.mixUp).toMatchObject({ asked, noticed: false })
    screener.hear({ asked, stands: 'in doubt' })
    await wait(10_000)
    expect(said).toEqual(['again'])
    expect(screener.mixUp).toMatchObject({ asked, noticed: true })
    expect(bench.part).toBe(drawer.find(asked))
    screener.hear({ asked, stands: 'measuring' })
    screener.hear({ asked, stands: 'in doubt' })
    await wait(3000)
    expect(said).toEqual(['again', 'keep'])
  })

  it('hears what is asked of a part while it is measured, and moves nothing for its name', async () => {
    const { screener, hands, bench, drawer, wait } = table()
    const heard: string[] = []
    const hear = hands.hear.bind(hands)
    hands.hear = (tone, text) => { heard.push(`${tone} ${text}`); hear(tone, text) }
    screener.hear(asking('RV1'))
    await wait(3000)
    const measuring = (text: string) => ({ asked: 'RV1', stands: 'measuring', told: { tone: 'ask', text } })
    for (const text of ['RV1', 'turn the shaft to a stop', 'turn the shaft to a stop', 'to the other stop']) screener.hear(measuring(text))
    await wait(3000)
    expect(heard).toEqual(['ask turn the shaft to a stop', 'ask to the other stop'])
    expect(bench.part).toBe(drawer.find('RV1'))
  })

  it('mends a standard once, and ends where it is out of control again', async () => {
    const { screener, wait, said } = table()
    const out = { asked: null, stands: 'out of control' }
    screener.hear(out)
    screener.hear(out)
    await wait(3000)
    screener.hear({ asked: 'known-100', stands: 'clearing' })
    screener.hear(out)
    await wait(3000)
    expect(said).toEqual(['adjusted', 'end'])
  })

  it('takes its hands away when the session is over', async () => {
    const { screener, bench, wait, said } = table()
    screener.hear(asking('C1'))
    await wait(3000)
    screener.hear(null)
    await wait(60_000)
    expect([bench.part, said]).toEqual([null, []])
  })
})
