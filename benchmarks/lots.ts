/** How long it takes to get the sheet of a lot: from the record to the page, on the thread that lots are reckoned on. */
import { Lots, lotThreads } from '../src/app/lots.ts'
import { RealClock } from '../src/base/clock.ts'
import { SeededRandom } from '../src/base/random.ts'
import { openInlineStore } from '../src/store/inline.ts'
import type { Criterion } from '../src/schema/run.ts'

const criterion = (name: Criterion['name'], value: number, unit: string, limitLow: number, limitHigh: number): Criterion =>
  ({ name, value, unit, expandedU: Math.abs(value) / 1000, limitLow, limitHigh, guardBand: 0, pConform: 1, grade: 'accept', source: 'parts list' })

/** `parts` capacitors with two quantities each; seconds by the wall, and the length of the page. */
export async function measureLotSheet(parts: number): Promise<{ seconds: number; bytes: number }> {
  const random = new SeededRandom(7)
  const store = openInlineStore(':memory:')
  await store.createRun({
    id: 'lot', sequence: 'screen', bench: 'simulated', state: 'done', startedWallMs: 1, endedWallMs: 2, person: 'measurement', use: 'touch-safe',
    software: '0', setup: {},
  }, [])
  for (let i = 0; i < parts; i++) {
    await store.saveResult('lot', {
      position: `line 1 #${i + 1}`, part: `lot-line-1-${i + 1}`, profile: 'parts list', grade: 'accept', provisional: false, disposition: 'use',
      pConform: 1, reason: 'within every limit with its uncertainty', figures: {}, criteria: [
        criterion('capacitance', 1e-7 * (1 + 0.02 * random.normal()), 'F', 0.9e-7, 1.1e-7),
        criterion('dissipation', 0.004 * Math.exp(0.2 * random.normal()), '1', 0, 0.01),
      ],
    })
  }
  const lots = new Lots(store, lotThreads(new RealClock()))
  const started = process.hrtime.bigint()
  const page = await lots.sheet({ runs: ['lot'], choice: {}, format: 'html' })
  const seconds = Number(process.hrtime.bigint() - started) / 1e9
  await store.close()
  return { seconds, bytes: page.length }
}
