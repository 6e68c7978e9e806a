/** The main job on a simulated bench: a night of forming in under a minute, with nothing but this package. */
import { spawn } from 'node:child_process'
import type { ChildProcess } from 'node:child_process'
import { mkdtempSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { createInterface } from 'node:readline'
import { RealClock, sleep } from '../base/clock.ts'
import { BenchError } from '../base/errors.ts'
import { makeFolder } from '../base/file-fault.ts'
import { makeLog } from '../base/log.ts'
import { builtEntry } from '../base/paths.ts'
import type { LoadedPart, RunRecord } from '../schema/run.ts'
import { recordFiles } from './demo-record.ts'
import { askBench } from './demo-control.ts'
import type { TruthLine } from './demo-control.ts'
import { DemoScreen, finalJson, finalLines, openingLines } from './demo-screen.ts'
import { openBench } from '../app/open-bench.ts'

export interface DemoOptions {
  seed: string; json: boolean; out: NodeJS.WritableStream; data?: string | undefined
}

interface Ready {
  benchFile: object; controlUrl: string; parts: Pick<LoadedPart, 'position' | 'part' | 'profile'>[]
}

/** Longest stay on a step, so that the part that needs another night leaves room for the others. */
const parameters = { maxStepS: 3600, soakS: 6 * 3600 }
const drawEveryMs = 400

/** Resolves with the exit code: 0 when the night ended as a night should, whatever the parts were worth. */
export async function runDemo(options: DemoOptions): Promise<number> {
  const clock = new RealClock()
  const startedMs = clock.monotonicMs()
  const folder = options.data ?? mkdtempSync(join(tmpdir(), 'nightbench-demo-'))
  makeFolder(folder)
  const sim = await startBench(seedOf(options.seed))
  const close: (() => Promise<void> | void)[] = [() => { sim.child.kill() }]
  try {
    const benchPath = join(folder, 'bench.json')
    writeFileSync(benchPath, JSON.stringify(sim.ready.benchFile, null, 2))
    await askBench(sim.ready.controlUrl, { do: 'presence', on: true })
    const opened = await openBench(benchPath, folder, makeLog('warn'))
    close.push(() => opened.close())
    const screen = new DemoScreen(options.out, options.json)
    screen.lines(openingLines(options.seed))
    const run = await night(opened.daemon, sim.ready, screen, clock)
    const results = await opened.daemon.store.results(run.id)
    const events = await opened.daemon.store.events(run.id)
    const records = await recordFiles(opened.daemon.store, run.id, join(folder, 'records'))
    const truth = await askBench(sim.ready.controlUrl, { do: 'truth' }) as TruthLine[]
    const summary = { run, results, events, truth, records, wallS: (clock.monotonicMs() - startedMs) / 1000 }
    screen.lines(finalLines(summary))
    if (options.json) options.out.write(`${JSON.stringify(finalJson(summary))}\n`)
    return run.state === 'done' ? 0 : 3
  } finally {
    for (const step of close.reverse()) await step()
  }
}

async function night(
  daemon: Awaited<ReturnType<typeof openBench>>['daemon'], ready: Ready, screen: DemoScreen, clock: RealClock
): Promise<RunRecord> {
  const stopListening = daemon.subscribe(item => { if (item.type === 'event') screen.event(item.event) })
  const run = await daemon.start({
    sequence: 'reform', parameters, use: 'unattended', person: 'the night watch', cautionsConfirmed: true,
    polarityConfirmed: true,
    parts: ready.parts.map(part => ({ ...part, note: '', condition: 'sound' as const })),
  })
  const onInterrupt = (): void => { void daemon.stop('Ctrl-C') }
  process.on('SIGINT', onInterrupt)
  const drawing = new AbortController()
  void (async () => {
    for (;;) { await sleep(clock, drawEveryMs, drawing.signal); screen.status(daemon.status()) }
  })().catch(() => {})
  try {
    return await daemon.ended(run.id)
  } finally {
    drawing.abort(new Error('the night is over'))
    stopListening()
    process.off('SIGINT', onInterrupt)
  }
}

function seedOf(text: string): number {
  if (!/^\d{1,9}$/.test(text)) throw new BenchError(
    'USAGE', '--seed', { expected: 'a whole number of at most nine digits', got: text }
  )
  return Number(text)
}

/** The simulated bench is a process of its own; it ends when its standard input closes. */
function startBench(seed: number): Promise<{ child: ChildProcess; ready: Ready }> {
  const serial = process.platform === 'linux' ? ['--serial'] : []
  const child = spawn(process.execPath, [
    builtEntry('mocks/main'), '--seed', String(seed), '--scenario', 'pavilion', '--wall',
    String(Date.UTC(2026, 0, 9, 19, 30)), ...serial,
  ],
    { stdio: ['pipe', 'pipe', 'inherit'], detached: true })
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
