/**
 * Screening on a simulated jig: the parts of an amplifier, put in by two simulated hands that follow the
 * feed of the daemon, and in the end the truth beside what the bench concluded.
 */
import { writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { buildApi, listen } from '../api/build.ts'
import { openBench, type OpenBench } from '../app/open-bench.ts'
import { RealClock } from '../base/clock.ts'
import { makeLog } from '../base/log.ts'
import { packageFile } from '../base/paths.ts'
import { softwareVersion } from '../base/version.ts'
import type { RunRecord } from '../schema/run.ts'
import { screenRequest, type CheckStandard, type ScreenRequest } from '../schema/screening.ts'
import { realContext, type DemoOptions } from './context.ts'
import { seedOf, startBench } from './demo-bench.ts'
import { askBench } from './demo-control.ts'
import { recordFiles } from './demo-record.ts'
import { ScreeningScreen } from './demo-screening-screen.ts'
import {
  screeningJson, screeningLines, screeningOpening, type JigAudit, type PartTruth,
} from './demo-screening-text.ts'
import { runCli } from './run-cli.ts'
import { screenRequestOf } from './screen-request.ts'

interface Ready { benchFile: object; controlUrl: string; standards: CheckStandard[] }

const list = packageFile('profiles', 'lists', 'saltmarsh-amplifier.csv')
/** A session that has not ended by then never will. */
const sessionMostMs = 300_000

/** Resolves with the exit code: 0 when the session came to its end, whatever the parts were worth. */
export async function runScreeningDemo(options: DemoOptions, folder: string): Promise<number> {
  const clock = new RealClock()
  const startedMs = clock.monotonicMs()
  const sim = await startBench<Ready>(seedOf(options.seed), ['--jig'])
  const close: (() => Promise<void> | void)[] = [() => { sim.child.kill() }]
  try {
    const benchPath = join(folder, 'bench.json')
    writeFileSync(benchPath, JSON.stringify(sim.ready.benchFile, null, 2))
    const { daemon, close: closeBench } = await openBench(benchPath, folder, makeLog('warn'))
    close.push(closeBench)
    const api = buildApi(daemon, { software: softwareVersion, log: makeLog('warn') })
    close.push(async () => { await api.close() })
    const url = await listen(api, { port: 0 })
    await askBench(sim.ready.controlUrl, { do: 'follow', url })
    const screen = new ScreeningScreen(options.out, options.json)
    const request = requestFor(sim.ready.standards)
    screen.lines(screeningOpening(options.seed, await daemon.screening.plan(request)))
    const run = await session(daemon, request, screen, clock)
    const results = await daemon.store.results(run.id)
    const records = await recordFiles(daemon.store, run.id, join(folder, 'records'))
    const truth = await askBench(sim.ready.controlUrl, { do: 'truth' }) as PartTruth[]
    const audit = await askBench(sim.ready.controlUrl, { do: 'audit' }) as JigAudit
    const lot = await lotOf(url, run)
    const wallS = (clock.monotonicMs() - startedMs) / 1000
    const summary = { run, results, truth, audit, lot, records, wallS }
    screen.end(screeningLines(summary))
    if (options.json) options.out.write(`${JSON.stringify(screeningJson(summary))}\n`)
    return run.state === 'done' ? 0 : 3
  } finally {
    for (const step of close.reverse()) await step()
  }
}

function requestFor(standards: CheckStandard[]): ScreenRequest {
  const { request } = screenRequestOf(list, { unit: 'pavilion', person: 'two simulated hands' })
  return screenRequest.parse({ ...request, standards, compensate: true })
}

/** What `nightbench lot` says, line by line. */
async function lotOf(url: string, run: RunRecord): Promise<string[]> {
  let text = ''
  const out = { write: (piece: string) => { text += piece } }
  await runCli(['lot', run.id, '--daemon', url], { ...realContext(run.person), out, err: out })
  return text.trimEnd().split('\n')
}

async function session(
  daemon: OpenBench['daemon'], request: ScreenRequest, screen: ScreeningScreen, clock: RealClock,
): Promise<RunRecord> {
  const stopListening = daemon.subscribe(item => {
    if (item.type === 'screening' && item.screening) screen.status(item.screening)
  })
  const onInterrupt = (): void => { void daemon.stop('Ctrl-C') }
  process.on('SIGINT', onInterrupt)
  const cancel = clock.after(sessionMostMs, () => void daemon.stop('the simulated hands found no end'))
  try {
    const { id } = await daemon.screening.begin(request)
    return await daemon.ended(id)
  } finally {
    cancel()
    stopListening()
    process.off('SIGINT', onInterrupt)
  }
}
