// Writes batches of ten readings until it is killed, and says the number of each when the store calls it
// durable.
import { writeSync } from 'node:fs'
import { pathToFileURL } from 'node:url'

const [, , entry, path] = process.argv
const { openWorkerStore } = await import(pathToFileURL(entry).href)
const store = await openWorkerStore(path)
const channels = [0, 1, 2].map(index =>
  ({ index, name: `P${index}.current`, quantity: 'current', unit: 'A' }))
await store.createRun({
  id: 'R1', sequence: 'reform', bench: 'pavilion', state: 'running', startedWallMs: 0, endedWallMs: null,
  person: 'Ida', use: 'unattended', software: '0.1.0', setup: {},
}, channels)
for (let batch = 1; ; batch++) {
  await store.appendReadings('R1', Array.from({ length: 10 }, (_, i) => {
    const order = batch * 10 + i
    return { channel: channels[order % 3], atMs: order, value: order, u: 0.1, quality: 'good' }
  }))
  writeSync(1, `${batch}\n`)
}
