/** How long the test record of a night of a hundred thousand readings takes, from store to finished page. */
import { recordHtml } from '../src/report/html.ts'
import { buildRecord } from '../src/report/record.ts'
import { RealClock } from '../src/base/clock.ts'
import { storeWithNight } from './sample-night.ts'

/** Twelve positions over eleven hours, 100,000 readings. The whole page, in seconds. */
export async function measureRecord(): Promise<{ recordS: number }> {
  const clock = new RealClock()
  const store = await storeWithNight({ parts: 12, endS: 40_000, everyS: 10 })
  try {
    const startMs = clock.monotonicMs()
    recordHtml(await buildRecord(store, 'R1'))
    return { recordS: (clock.monotonicMs() - startMs) / 1000 }
  } finally {
    await store.close()
  }
}
