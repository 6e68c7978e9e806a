/** The store on a worker thread: a long SELECT in the main one would hold up the supervisor. */
import { Worker } from 'node:worker_threads'
import { BenchError } from '../base/errors.ts'
import { builtEntry } from '../base/paths.ts'
import type { Store } from '../schema/store.ts'
import { pack } from './columns.ts'
import { closed } from './core.ts'
import { errorOf, openingId, type Answer, type Call } from './protocol.ts'

/**
 * Opens the record at `path` on a thread of its own. Rejects with STORE or REFUSED as `openDatabase` throws.
 * `entry` is for tests.
 */
export async function openWorkerStore(path: string, entry = builtEntry('src/store/worker')): Promise<Store> {
  const line = new Line(path, entry)
  await line.opened
  return remoteStore(line)
}

function remoteStore(line: Line): Store {
  const ask = <Name extends Exclude<Call, 'appendReadings'>>(name: Name): Store[Name] =>
    ((...given: unknown[]) => line.call(name, given)) as Store[Name]
  return {
    createRun: ask('createRun'),
    appendEvent: ask('appendEvent'),
    appendReadings: async (runId, batch) => {
      const { buffer } = pack(batch).bytes
      await line.call('appendReadings', [runId, buffer], [buffer])
    },
    saveResult: ask('saveResult'),
    finishRun: ask('finishRun'),
    interruptRunning: ask('interruptRunning'),
    listRuns: ask('listRuns'),
    run: ask('run'),
    channels: ask('channels'),
    events: ask('events'),
    results: ask('results'),
    partHistory: ask('partHistory'),
    series: ask('series'),
    levels: ask('levels'),
    chainHead: ask('chainHead'),
    verifyChain: ask('verifyChain'),
    close: () => line.close(),
  }
}

interface Waiting { resolve(value: unknown): void; reject(error: Error): void }

/**
 * Calls to the worker and their answers. A worker that ends fails every call, those open and those to come.
 */
class Line {
  readonly opened: Promise<unknown>
  #path: string
  #worker: Worker
  #waiting = new Map<number, Waiting>()
  #lastId = openingId
  #ended: Error | undefined
  #closing: Promise<void> | undefined

  constructor(path: string, entry: string) {
    this.#path = path
    this.#worker = new Worker(entry, { workerData: { path } })
    this.opened = this.#await(openingId)
    this.#worker.on('message', (answer: Answer) => this.#settle(answer))
    this.#worker.on('error', error => this.#end(`the store's thread failed: ${String(error)}`))
    this.#worker.on('exit', code => this.#end(`the store's thread ended with code ${code}`))
  }

  async call(name: Call, given: unknown[], handOver: ArrayBuffer[] = []): Promise<unknown> {
    if (this.#closing) throw closed(this.#path)
    return this.#send(name, given, handOver)
  }

  /** Waits for what was called before. */
  close(): Promise<void> {
    return this.#closing ??= this.#ended ? Promise.resolve() : this.#close()
  }

  async #close(): Promise<void> {
    const exited = new Promise<void>(resolve => { this.#worker.once('exit', () => resolve()) })
    await this.#send('close', [], [])
    await exited
  }

  #send(name: Call, given: unknown[], handOver: ArrayBuffer[]): Promise<unknown> {
    if (this.#ended) return Promise.reject(this.#ended)
    const id = ++this.#lastId
    this.#worker.postMessage({ id, call: name, given }, handOver)
    return this.#await(id)
  }

  #await(id: number): Promise<unknown> {
    return new Promise((resolve, reject) => this.#waiting.set(id, { resolve, reject }))
  }

  #settle(answer: Answer): void {
    const waiting = this.#waiting.get(answer.id)
    this.#waiting.delete(answer.id)
    if ('fault' in answer) waiting?.reject(errorOf(answer.fault))
    else waiting?.resolve(answer.value)
  }

  #end(what: string): void {
    this.#ended ??= new BenchError('STORE', what, { file: this.#path })
    for (const waiting of this.#waiting.values()) waiting.reject(this.#ended)
    this.#waiting.clear()
  }
}
