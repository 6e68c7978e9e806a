/** What stands before a run: what refuses it, its name, and what its record keeps of the bench. */
import { BenchError } from '../base/errors.ts'
import type { Plan } from '../schema/application.ts'
import { eachOnce } from '../schema/refusals.ts'
import type { StartRequest } from '../schema/run.ts'
import type { Store } from '../schema/store.ts'
import { calibratedOf } from './calibration.ts'
import type { Continued } from './continue-run.ts'
import type { DaemonDeps } from './daemon-deps.ts'
import { rolesOf } from './files.ts'
import { beatLimitMs } from './night-maker.ts'

/** Rejects REFUSED where the plan is refused, or a person has not confirmed what the plan asks of them. */
export function refuseUnless(request: StartRequest, plan: Plan): void {
  if (plan.refusals.length > 0) {
    const lines = eachOnce(plan.refusals).map(({ what, have, need, wayOut, position }) =>
      `\n  ${position ? `${position}: ` : ''}${what}: ${have}, needs ${need} (${wayOut})`)
    throw new BenchError('REFUSED', `the plan is refused${lines.join('')}`)
  }
  const hazardous = plan.use !== 'touch-safe' && plan.targetV > 0
  if (hazardous && !request.cautionsConfirmed) {
    throw new BenchError('REFUSED', 'the cautions are not confirmed', {
      expected: 'a person who has read them (--cautions-read)', got: 'no confirmation',
    })
  }
  if (hazardous && !request.polarityConfirmed) {
    throw new BenchError('REFUSED', 'polarity is not confirmed by eye', {
      expected: 'every part looked at (--polarity-checked)', got: 'no confirmation',
    })
  }
}

/** `wallMs` and the sequence; a number more where `isTaken`. */
export function runIdOf(wallMs: number, sequence: string, isTaken: (id: string) => boolean): string {
  const stamp = new Date(wallMs).toISOString().slice(0, 19).replace(/[-:]/g, '').replace('T', '-')
  const id = `${stamp}-${sequence}`
  for (let n = 1; ; n++) {
    const candidate = n === 1 ? id : `${id}-${n}`
    if (!isTaken(candidate)) return candidate
  }
}

/** An id that no run on record has: a clock that was set back gives the same second twice. */
export async function freeRunId(store: Store, wallMs: number, sequence: string): Promise<string> {
  const taken = new Set<string>()
  for (;;) {
    const id = runIdOf(wallMs, sequence, one => taken.has(one))
    if (!await store.run(id)) return id
    taken.add(id)
  }
}

/** A run is continued to the target it had: otherwise REFUSED. */
export async function refuseOtherTarget(store: Store, runId: string, { targetV }: Plan): Promise<void> {
  const then = ((await store.run(runId))!.setup['plan'] as Plan).targetV
  if (targetV === then) return
  throw new BenchError('REFUSED', `the plan of run ${runId} had another target`,
    { expected: `${then} V`, got: `${targetV} V` })
}

/** All that the record keeps of how the bench was when the run began. */
export function setupOf(
  { bench, profiles, sequences }: DaemonDeps, request: StartRequest, plan: Plan, continued?: Continued,
): Record<string, unknown> {
  const instruments = Object.entries(bench.file.instruments).map(([name, { identity, url, profile }]) =>
    ({
      name, role: rolesOf(bench, name), identity, url, profile, hash: bench.profiles.get(name)!.hash,
      calibrated: calibratedOf(bench, name),
    }))
  const parts = [...new Set(request.parts.map(({ profile }) => profile))].map(name =>
    ({ name, hash: profiles.part(name).hash, profile: profiles.part(name).profile }))
  const sequence = {
    name: request.sequence, origin: sequences.find(({ name }) => name === request.sequence)?.origin ?? null,
  }
  return {
    request, plan, sequence, instruments, parts, fixture: bench.file.fixture, limits: bench.file.limits,
    cadence: bench.file.cadence, beatLimitMs,
    ...continued && { continues: continued.runId, leftOut: continued.leftOut },
  }
}
