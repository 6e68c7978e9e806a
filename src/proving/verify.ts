/**
 * The proof of a unit: loop-back, then measurement by measurement. Whatever ends it, the generator is muted
 * before it returns; what one measurement cannot do does not end the others.
 */
import { BenchError, hasCode, isBenchError } from '../base/errors.ts'
import type { Figure } from '../schema/figure.ts'
import { muted } from './drive.ts'
import { runJob } from './jobs.ts'
import { measureLoop } from './loop-back.ts'
import type { Plan, PlanStep } from './plan.ts'
import { patched, type Proving } from './proving.ts'

export type Proven =
  | { readonly step: PlanStep; readonly figures: readonly Figure[] }
  | { readonly step: PlanStep; readonly error: BenchError }

/** Yields what each step came to. Rejects with what tripped, stopped or failed the bench. */
export async function* verifyUnit(proving: Proving, plan: Plan): AsyncGenerator<Proven, void> {
  const { port } = proving
  try {
    port.signal.throwIfAborted()
    if (plan.steps.length === 0) return
    port.tell({ what: 'the bench by itself', channel: null, done: 0, of: plan.steps.length })
    await measureLoop(proving, plan.loop)
    await patched(proving, 'unit')
    for (const [i, step] of plan.steps.entries()) {
      port.signal.throwIfAborted()
      port.tell({ what: step.job.do, channel: step.job.channel, done: i, of: plan.steps.length })
      yield await proven(proving, step)
    }
  } finally {
    await muted(proving)
  }
}

async function proven(proving: Proving, step: PlanStep): Promise<Proven> {
  try {
    await loaded(proving, step)
    return { step, figures: await runJob(proving, step.job) }
  } catch (error) {
    proving.port.signal.throwIfAborted()
    if (isBenchError(error) && hasCode(error, 'REFUSED', 'NO_READING', 'OUT_OF_RANGE')) return { step, error }
    throw error
  } finally {
    await muted(proving)
  }
}

/** Within this two loads are one. */
const loadShare = 0.05

/** Sets the load of every channel, muted; a step that is there already is left alone. */
async function loaded(proving: Proving, { job: { loadOhm } }: PlanStep): Promise<void> {
  const { port, loadsOhm } = proving
  const step = port.loadStepsOhm.find(ohm => Math.abs(ohm / loadOhm - 1) <= loadShare)
  for (const { name } of port.channels) {
    if (loadsOhm.get(name) === loadOhm) continue
    if (step === undefined) throw new BenchError('REFUSED', `the bench has no load of ${loadOhm} Ω`)
    await muted(proving)
    await port.connectLoad(name, step)
    loadsOhm.set(name, loadOhm)
    // What was learnt of its gain held for the other load.
    proving.gains.delete(name)
  }
}
