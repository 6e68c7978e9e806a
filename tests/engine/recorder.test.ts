import { describe, expect, it } from 'vitest'
import { VirtualClock } from '../../src/base/clock.ts'
import { Recorder, storeLateMs } from '../../src/engine/recorder.ts'
import type { Channel, Reading } from '../../src/schema/reading.ts'
import type { Store, StoredEvent } from '../../src/schema/store.ts'

const channel: Channel = { index: 0, name: 'P01.current', quantity: 'current', unit: 'A', position: 'P01' }
const reading = (atMs: number): Reading => ({ channel, value: 1e-3, u: 1e-6, quality: 'good', atMs })

// The recorder does not look at what the store gives back.
const stored = {} as StoredEvent

/** Real time beside a bench time that stands still, as where the simulated bench waits for the write. */
function rig(store: Partial<Store>) {
  const bench = new VirtualClock()
  const real = new VirtualClock()
  const failures: string[] = []
  const recorder = new Recorder({
    runId: 'r', clock: bench, livenessClock: real, store: store as Store, publish: () => {},
    onFailure: error => failures.push((error as Error).message),
  })
  return { bench, real, recorder, failures }
}

describe('the recorder over a store that stalls', () => {
  it('fails the run in bounded time, and says so once', async () => {
    const { real, recorder, failures } = rig({ appendEvent: () => new Promise(() => {}) })
    await real.run((async () => {
      const first = recorder.event({ kind: 'energise', text: 'x' })
      await expect(first).rejects.toThrow('does not answer')
      await expect(recorder.event({ kind: 'trip', text: 'y' })).rejects.toThrow('not answered')
      await recorder.flush()
    })())
    expect(real.monotonicMs()).toBe(storeLateMs)
    expect(failures).toHaveLength(1)
  })

  it('goes on when the late write has ended after all', async () => {
    let end: () => void = () => {}
    const kinds: string[] = []
    const appendEvent: Store['appendEvent'] = (_run, { kind }) => {
      kinds.push(kind)
      return new Promise(resolve => {
        end = () => resolve(stored)
        if (kind !== 'late') end()
      })
    }
    const { real, recorder } = rig({ appendEvent })
    await real.run((async () => {
      await expect(recorder.event({ kind: 'late', text: '' })).rejects.toThrow()
      end()
      await Promise.resolve()
      await Promise.resolve()
      await Promise.resolve()
      await recorder.event({ kind: 'after', text: '' })
    })())
    expect(kinds).toEqual(['late', 'after'])
  })

  it('is not troubled by a write that ends just in time', async () => {
    const { real, recorder, failures } = rig({
      appendEvent: () => new Promise(resolve => { real.after(storeLateMs - 1, () => resolve(stored)) }),
    })
    await real.run(recorder.event({ kind: 'slow', text: '' }))
    expect(failures).toEqual([])
  })
})

describe('the recorder over a store that fails', () => {
  it('keeps the readings and writes them with the next that succeeds', async () => {
    const written: number[] = []
    let broken = true
    const { bench, recorder, failures } = rig({
      appendReadings: async (_run, batch) => {
        if (broken) throw new Error('disk full')
        written.push(...batch.map(({ atMs }) => atMs))
      },
    })
    await bench.run((async () => {
      recorder.reading(reading(1))
      recorder.reading(reading(2))
      await recorder.flush()
      broken = false
      recorder.reading(reading(3))
      await recorder.flush()
    })())
    expect(failures).toEqual(['disk full'])
    expect(written).toEqual([1, 2, 3])
  })
})

describe('what a screen may show as lasting', () => {
  const slow = { ends: [] as (() => void)[] }
  const appendReadings: Store['appendReadings'] = () => new Promise(resolve => { slow.ends.push(resolve) })
  const turns = async (): Promise<void> => { for (let i = 0; i < 10; i++) await Promise.resolve() }

  it('is no reading that is still being written', async () => {
    const { bench, recorder } = rig({ appendReadings })
    await bench.advance(5000)
    recorder.reading(reading(4900))
    void recorder.flush()
    await turns()
    expect(slow.ends).toHaveLength(1)
    expect(recorder.durableUntilMs).toBeLessThan(4900)
    await bench.advance(2000)
    expect(recorder.durableUntilMs).toBeLessThan(4900)
    slow.ends.shift()!()
    await turns()
    recorder.reading(reading(6900))
    void recorder.flush()
    await turns()
    slow.ends.shift()!()
    await turns()
    expect(recorder.durableUntilMs).toBeGreaterThanOrEqual(4900)
  })

  it('leaves room for a slow reading that comes late', async () => {
    const { bench, recorder } = rig({ appendReadings: () => Promise.resolve() })
    await bench.advance(10_000)
    recorder.reading(reading(7000))
    await recorder.flush()
    // One that began as long ago as the slowest so far may come next.
    expect(recorder.durableUntilMs).toBe(7000)
  })

  it('stays where it was once a write failed, though later ones succeed', async () => {
    let fails = true
    const { bench, recorder } = rig({
      appendReadings: () => fails ? Promise.reject(new Error('disk full')) : Promise.resolve(),
    })
    recorder.reading(reading(0))
    await recorder.flush()
    fails = false
    await bench.advance(60_000)
    recorder.reading(reading(60_000))
    await recorder.flush()
    expect(recorder.durableUntilMs).toBe(0)
  })
})
