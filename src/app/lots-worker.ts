/** A thread that does one job for lots, says what came of it, and ends. */
import { parentPort, workerData } from 'node:worker_threads'
import { lotOutcome, type LotJob } from './lots-work.ts'

parentPort!.postMessage(lotOutcome(workerData as LotJob))
