/** One part through a whole session on a bench of its own, in virtual time, and what was said of it. */
import { makeWire } from '../../mocks/bench/drawer.ts'
import { Hands } from '../../mocks/bench/hands.ts'
import { usualWander } from '../../mocks/bench/jig-bench.ts'
import { Screener } from '../../mocks/bench/screener.ts'
import type { ErrorModel } from '../../mocks/instruments/accuracy.ts'
import { virtualJig } from '../../nights/virtual-jig.ts'
import { SeededRandom } from '../../src/base/random.ts'
import { screenRequest, type Deed } from '../../src/schema/screening.ts'
import { drawStudyPart, type StudyPart } from './draw.ts'
import type { JudgedValue } from '../truth/night.ts'
import { truthsOf } from './truths.ts'

export interface Screened {
  readonly index: number
  readonly kind: StudyPart['kind']
  readonly defect: StudyPart['defect']
  /** `none`: the session ended without a result. */
  readonly grade: string
  readonly reason: string
  readonly state: string
  readonly judged: readonly (JudgedValue & { readonly name: string })[]
}

export async function screenOne(seed: number, index: number, errors: ErrorModel): Promise<Screened> {
  const part = drawStudyPart(seed, index)
  const bench = await virtualJig({ seed: new SeededRandom(`${part.seed}-bench`).next() * 2 ** 31 | 0, errors })
  const { clock, daemon, store } = bench
  // Contacts come back a little different each time, by as much as the program allows for.
  bench.sim.wander = usualWander
  const lying = new Map([['X1', part.component], ['shorting wire', makeWire()]])
  const find = (name: string): StudyPart['component'] | null => lying.get(name) ?? null
  const hands = new Hands({ bench: bench.sim, clock, find })
  const screener = new Screener({
    hands, clock, random: new SeededRandom(part.seed).fork('hands'),
    drawer: { parts: new Map([['X1', part.component]]), standards: [], find, truth: () => [] },
    say: async deed => {
      await Promise.resolve()
      try { daemon.screening.do(deed as Deed) } catch { /* Refused: it is told otherwise. */ }
    },
  })
  daemon.subscribe(item => { if (item.type === 'screening') screener.hear(item.screening) })
  const { id } = await clock.run(daemon.screening.begin(
    screenRequest.parse({ unit: 'truth', person: 'study', parts: [part.line], compensate: true })))
  const { state } = await clock.run(daemon.ended(id))
  const [result] = await store.results(id)
  await clock.run(daemon.close())
  const { kind, defect } = part
  const none = { index, kind, defect, state, grade: 'none', reason: '', judged: [] }
  return result ? { ...none, grade: result.grade, reason: result.reason, judged: judgedOf(part, result) } : none
}

type Result = Parameters<typeof truthsOf>[1]

function judgedOf(part: StudyPart, result: Result): Screened['judged'] {
  const truths = truthsOf(part, result)
  return result.criteria.flatMap((criterion, i) => {
    const truth = truths[i]!
    if (truth === null) return []
    const { name, value, expandedU, guardBand, pConform, grade, limitLow, limitHigh } = criterion
    const limits = {
      ...limitLow === undefined ? {} : { lower: limitLow }, ...limitHigh === undefined ? {} : { upper: limitHigh },
    }
    return [{ name, value, expandedU, guardBand, pConform, grade, limits, truth }]
  })
}
