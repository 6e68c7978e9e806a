/** The thread that owns the database. Writes never wait for a long read: that stops at each step. */
import { parentPort, workerData, type Transferable } from 'node:worker_threads'
import { assert, unreachable } from '../base/assert.ts'
import type { Channel } from '../schema/reading.ts'
import type { PartResult, RunEvent, RunRecord, RunState } from '../schema/run.ts'
import { columnsOver } from './columns.ts'
import { openCore, type StoreCore } from './core.ts'
import { faultOf, openingId, type Answer, type Request } from './protocol.ts'
import type { Steps } from './steps.ts'

function serve(port: NonNullable<typeof parentPort>): void {
  const say = (said: Answer, handOver: readonly Transferable[] = []): void => port.postMessage(said, handOver)
  const reading = new Set<Promise<void>>()
  let core: StoreCore
  try {
    core = openCore((workerData as { path: string }).path)
  } catch (error) {
    say({ id: openingId, fault: faultOf(error) })
    return port.close()
  }
  port.on('message', (request: Request) => {
    const { id } = request
    try {
      if (request.call === 'close') return void closing()
      const result = answer(core, request)
      if (!isSteps(result)) return say({ id, value: result })
      const work = paced(result).then(value => say({ id, value }, buffersOf(value)), refuse)
      reading.add(work)
      void work.finally(() => reading.delete(work))
    } catch (error) { refuse(error) }

    function refuse(error: unknown): void { say({ id, fault: faultOf(error) }) }
    async function closing(): Promise<void> {
      await Promise.allSettled(reading)
      try { core.close(); say({ id, value: undefined }) } catch (error) { refuse(error) }
      port.close()
    }
  })
  say({ id: openingId, value: undefined })
}

type Bound = number | undefined

interface Job { steps: Steps<unknown>; resolve(value: unknown): void; reject(error: unknown): void }

/**
 * Long reads under way. One takes one step a turn of the event loop: calls that came meanwhile are answered
 * first.
 */
const jobs: Job[] = []

function paced(steps: Steps<unknown>): Promise<unknown> {
  return new Promise((resolve, reject) => {
    jobs.push({ steps, resolve, reject })
    if (jobs.length === 1) setImmediate(turn)
  })
}

function turn(): void {
  const job = jobs[0]!
  try {
    const step = job.steps.next()
    jobs.shift()
    if (step.done) job.resolve(step.value)
    else jobs.push(job)
  } catch (error) {
    jobs.shift()
    job.reject(error)
  }
  if (jobs.length > 0) setImmediate(turn)
}

function answer(core: StoreCore, { call, given }: Request): unknown {
  const [a, b, c, d] = given
  switch (call) {
    case 'createRun': return core.createRun(a as RunRecord, b as Channel[])
    case 'appendEvent': return core.appendEvent(a as string, b as RunEvent)
    case 'appendReadings': return core.appendReadings(a as string, columnsOver(b as ArrayBuffer))
    case 'saveResult': return core.saveResult(a as string, b as PartResult)
    case 'finishRun': return core.finishRun(a as string, b as RunState, c as number)
    case 'interruptRunning': return core.interruptRunning(a as number)
    case 'listRuns': return core.listRuns(a as number)
    case 'run': return core.run(a as string)
    case 'channels': return core.channels(a as string)
    case 'events': return core.events(a as string, b as number | undefined)
    case 'results': return core.results(a as string)
    case 'partHistory': return core.partHistory(a as string)
    case 'series': return core.series(a as string, b as number, c as Bound, d as Bound)
    case 'levels': return core.levels(a as string, b as number, c as number)
    case 'chainHead': return core.chainHead(a as string)
    case 'verifyChain': return core.verifyChain(a as string)
    case 'close': throw new Error('closing is not answered here')
    default: return unreachable(call)
  }
}

function isSteps(result: unknown): result is Steps<unknown> {
  return typeof result === 'object' && result !== null && Symbol.iterator in result && 'next' in result
}

/** The memory of a series, to be handed over. */
function buffersOf(value: unknown): ArrayBuffer[] {
  if (typeof value !== 'object' || value === null) return []
  return Object.values(value).filter(ArrayBuffer.isView).map(view => view.buffer as ArrayBuffer)
}

assert(parentPort, 'the store worker is started by remote.ts')
serve(parentPort)
