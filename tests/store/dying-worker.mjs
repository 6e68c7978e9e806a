// A store's thread that opens and then ends at the first call, without an answer.
import { parentPort } from 'node:worker_threads'

parentPort.on('message', () => process.exit(3))
parentPort.postMessage({ id: 0, value: undefined })
