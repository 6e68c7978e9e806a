/**
 * Demos on a simulated bench, with nothing but this package. The main job is a night of forming in under a
 * minute; others screen the parts of an amplifier, and power, burn in and prove it.
 */
import { mkdtempSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { openBench } from '../app/open-bench.ts'
import { RealClock, sleep } from '../base/clock.ts'
import { BenchError } from '../base/errors.ts'
import { makeFolder } from '../base/file-fault.ts'
import { makeLog } from '../base/log.ts'
import type { LoadedPart, RunRecord } from '../schema/run.ts'
import { demoJobs, type DemoOptions } from './context.ts'
import { seedOf, startBench } from './demo-bench.ts'
import { askBench, type TruthLine } from './demo-control.ts'
import { recordFiles } from './demo-record.ts'
import { DemoScreen, finalJson, finalLines, openingLines } from './demo-screen.ts'
import { runScreeningDemo } from './demo-screening.ts'
import { runUnitDemo } from './demo-unit.ts'

interface Ready {
  benchFile: object; controlUrl: string; parts: Pick<LoadedPart, 'position' | 'part' | 'profile'>[]
}

/** Longest stay on a step, so that the part that needs another night leaves room for the others. */
const parameters = { maxStepS: 3600, soakS: 6 * 3600 }
const drawEveryMs = 400

/** Resolves with the exit code: 0 when the job ended as it should, whatever the parts were worth. */
export async function runDemo(options: DemoOptions): Promise<number> {
  if (!demoJobs.includes(options.job)) {
    throw new BenchError('USAGE', '--job', { expected: demoJobs.join(' or '), got: options.job })
  }
  const folder = options.data ?? mkdtempSync(join(tmpdir(), 'nightbench-demo-'))
  makeFolder(folder)
  const jobs = { forming: runFormingDemo, screening: runScreeningDemo, unit: runUnitDemo }
  return await jobs[options.job as keyof typeof jobs](options, folder)
}

async function runFormingDemo(options: DemoOptions, folder: string): Promise<number> {
  const clock = new RealClock()
  const startedMs = clock.monotonicMs()
  const sim = await startBench<Ready>(seedOf(options.seed), ['--scenario', 'pavilion'])
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
