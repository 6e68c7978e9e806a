/** The simulated bench of a demo: a process of its own, by path, and what its seed may be. */
import { spawn } from 'node:child_process'
import type { ChildProcess } from 'node:child_process'
import { createInterface } from 'node:readline'
import { BenchError } from '../base/errors.ts'
import { builtEntry } from '../base/paths.ts'

export interface StartedBench<Ready> { child: ChildProcess; ready: Ready }

/** When it is evening on every simulated bench: Friday, 9 January 2026, 19:30 UTC. */
const wallStartMs = Date.UTC(2026, 0, 9, 19, 30)

/**
 * Resolves with what the bench says when it is ready. It ends when its standard input closes, and not by a
 * Ctrl-C that is meant for the daemon. Rejects HOST when it ends before.
 */
export function startBench<Ready>(seed: number, options: readonly string[]): Promise<StartedBench<Ready>> {
  const serial = process.platform === 'linux' ? ['--serial'] : []
  const child = spawn(process.execPath, [
    builtEntry('mocks/main'), '--seed', String(seed), '--wall', String(wallStartMs), ...options, ...serial,
  ], { stdio: ['pipe', 'pipe', 'inherit'], detached: true })
  return new Promise((resolve, reject) => {
    const lines = createInterface({ input: child.stdout! })
    lines.once('line', line => {
      lines.close(); child.stdout!.resume(); resolve({ child, ready: JSON.parse(line) as Ready })
    })
    child.once(
      'exit', code => reject(new BenchError('HOST', `the simulated bench ended with ${code ?? 'a signal'}`))
    )
    child.once('error', reject)
  })
}

/** Throws USAGE where it is no whole number of at most nine digits. */
export function seedOf(text: string): number {
  if (!/^\d{1,9}$/.test(text)) throw new BenchError(
    'USAGE', '--seed', { expected: 'a whole number of at most nine digits', got: text }
  )
  return Number(text)
}
