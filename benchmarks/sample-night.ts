/** An invented night in a store: one or more parts formed, held and read, the same every time. */
import { SeededRandom } from '../src/base/random.ts'
import type { Channel, Reading } from '../src/schema/reading.ts'
import type { PartResult, RunRecord } from '../src/schema/run.ts'
import type { Store } from '../src/schema/store.ts'
import { openInlineStore } from '../src/store/inline.ts'

export const startWallMs = Date.UTC(2026, 0, 5, 20, 0, 0)
/** Monotonic time at the start: not zero, because a daemon runs before its runs do. */
export const startMs = 5_000
export const decay = { amplitudeA: 2e-3, exponent: 0.8, floorA: 2e-5 }
const arrivalS = 600

export interface NightOptions {
  id?: string; parts?: number; endS?: number; everyS?: number; partName?: (index: number) => string
  run?: Partial<RunRecord>; result?: Partial<PartResult>
}

export async function storeWithNight(options: NightOptions = {}): Promise<Store> {
  const store = openInlineStore(':memory:')
  await addNight(store, options)
  return store
}

export async function addNight(store: Store, options: NightOptions = {}): Promise<void> {
  const { id = 'R1', parts = 2, endS = 3600, everyS = 5, partName = (i: number) => `C${i + 1}` } = options
  const positions = Array.from({ length: parts }, (_, i) => `P${String(i + 1).padStart(2, '0')}`)
  const channels = channelsFor(positions)
  await store.createRun({
    id, sequence: 'reform', bench: 'pavilion', state: 'running', startedWallMs: startWallMs, endedWallMs: null,
    person: 'Ida', use: 'unattended', software: 'nightbench 0.1.0',
    setup: {
      fixture: { limitOhm: 100_000, senseOhm: 1_000, formalOhm: 1_000 },
      instruments: [{ name: 'supply', role: 'supply', identity: 'A,B,1,2', profile: 'dc-supply', profileHash: 'ab12' }],
      parts: [{ name: 'can-450v', hash: 'cd34', profile: {} }],
      request: { parts: positions.map((position, i) => ({ position, part: `C${i + 1}`, profile: 'can-450v' })) },
    },
    ...options.run,
  }, channels)
  for (const position of positions) await addStages(store, id, position, endS)
  await addReadings(store, id, channels, endS, everyS)
  for (const [i, position] of positions.entries()) {
    await store.saveResult(id, { ...resultFor(position, partName(i)), ...options.result })
  }
  await store.finishRun(id, 'done', startWallMs + endS * 1000)
}

function channelsFor(positions: readonly string[]): Channel[] {
  const channels: Channel[] = [{ index: 0, name: 'bus.voltage', quantity: 'voltage', unit: 'V' }]
  for (const position of positions) {
    channels.push({ index: channels.length, name: `${position}.current`, quantity: 'current', unit: 'A', position })
    channels.push({ index: channels.length, name: `${position}.case`, quantity: 'temperature', unit: '°C', position })
  }
  return channels
}

async function addStages(store: Store, runId: string, position: string, endS: number): Promise<void> {
  const at = [['forming', 0], ['soaking', arrivalS], ['bleeding', endS - 300], ['graded', endS - 10]] as const
  for (const [stage, atS] of at) {
    await store.appendEvent(runId, {
      kind: 'stage', severity: 'info', atMs: startMs + atS * 1000, wallMs: startWallMs + atS * 1000, position,
      text: `${position} is ${stage}`, data: { stage },
    })
  }
}

export const busVoltsAt = (atS: number): number => Math.min(450, 0.75 * atS)
export const leakageAt = (atS: number): number => {
  const t = Math.max(1, atS - arrivalS)
  return atS < arrivalS ? 1e-3 * busVoltsAt(atS) / 450 : decay.amplitudeA * t ** -decay.exponent + decay.floorA
}

async function addReadings(
  store: Store, runId: string, channels: readonly Channel[], endS: number, everyS: number,
): Promise<void> {
  const random = new SeededRandom(`night:${runId}`)
  let batch: Reading[] = []
  for (let atS = 0; atS <= endS; atS += everyS) {
    for (const channel of channels) {
      const value = channel.quantity === 'voltage' ? busVoltsAt(atS)
        : channel.quantity === 'current' ? leakageAt(atS) * (1 + 0.01 * random.normal()) : 22 + atS / 3600
      batch.push({ channel, atMs: startMs + atS * 1000, value, u: Math.abs(value) * 1e-3, quality: 'good' })
    }
    if (batch.length >= 2000) { await store.appendReadings(runId, batch); batch = [] }
  }
  await store.appendReadings(runId, batch)
}

const resultFor = (position: string, part: string): PartResult => ({
  position, part, profile: 'can-450v', grade: 'accept', provisional: true, disposition: 'use', pConform: 0.9995,
  reason: 'Leakage is far below its limit.',
  figures: { decayAmplitudeA: decay.amplitudeA, decayExponent: decay.exponent, decayFloorA: decay.floorA },
  criteria: [{
    name: 'leakage', value: 2.1e-5, unit: 'A', expandedU: 4e-7, limitHigh: 1.1e-3, guardBand: 4e-7, pConform: 0.9995,
    grade: 'accept', source: 'maker data sheet, radial general purpose',
  }],
})
