/** Invented runs and readings for the tests of the store. */
import { SeededRandom } from '../../src/base/random.ts'
import type { Channel, Quality, Reading } from '../../src/schema/reading.ts'
import { qualities } from '../../src/schema/reading.ts'
import type { PartResult, RunEvent, RunRecord } from '../../src/schema/run.ts'
import type { Store } from '../../src/schema/store.ts'

export const sampleRun = (id = 'R1', changes: Partial<RunRecord> = {}): RunRecord => ({
  id, sequence: 'reform', bench: 'pavilion', state: 'running', startedWallMs: 1_767_643_200_000,
  endedWallMs: null, person: 'Ida', use: 'unattended', software: '0.1.0',
  setup: { targetV: 450, parts: ['C1', 'C2'] }, ...changes,
})

export const sampleChannels = (count: number): Channel[] => Array.from({ length: count }, (_, index) => ({
  index, name: `P${index}.current`, quantity: 'current' as const, unit: 'A' as const, position: `P${index}`,
}))

export const sampleEvent = (changes: Partial<RunEvent> = {}): RunEvent => ({
  kind: 'step', severity: 'info', atMs: 12.5, wallMs: 1_767_643_200_012, text: 'raised to 50 V', ...changes,
})

export const sampleResult = (changes: Partial<PartResult> = {}): PartResult => ({
  position: 'P0', part: 'C1', profile: 'can-450v', grade: 'accept', provisional: true, disposition: 'use',
  pConform: 0.998, reason: 'leakage is far below the limit', figures: { leakageA: 1.2e-5 },
  criteria: [{
    name: 'leakage', value: 1.2e-5, unit: 'A', expandedU: 2e-7, limitHigh: 1.1e-3, guardBand: 2e-7,
    pConform: 0.998,
    grade: 'accept', source: 'common practice',
  }],
  ...changes,
})

/** `count` readings over all channels in turn, one round of channels a second, some of them bad. */
export function sampleReadings(
  channels: readonly Channel[], from: number, count: number, seed = 1,
): Reading[] {
  const random = new SeededRandom(`${seed}:${from}`)
  return Array.from({ length: count }, (_, i) => {
    const order = from + i
    const channel = channels[order % channels.length]!
    const quality: Quality = random.next() < 0.05 ? random.pick(qualities) : 'good'
    const value = quality === 'good' ? 1e-5 * (1 + random.next()) : NaN
    return { channel, atMs: 1000 * (order / channels.length) + 0.25, value, u: 1e-8, quality }
  })
}

/** A run with events, results and readings in it, the same every time. */
export async function fillStore(store: Store, channels = sampleChannels(3), readings = 2500): Promise<void> {
  await store.createRun(sampleRun(), channels)
  await store.appendEvent('R1', sampleEvent({ position: 'P0', data: { volts: 50, held: true, why: null } }))
  for (let from = 0; from < readings; from += 100) {
    await store.appendReadings('R1', sampleReadings(channels, from, Math.min(100, readings - from)))
    if (from % 500 === 0) await store.appendEvent('R1', sampleEvent({ atMs: from, text: `step at ${from}` }))
  }
  await store.saveResult('R1', sampleResult())
  await store.finishRun('R1', 'done', 1_767_643_900_000)
}
