/**
 * A whole unit on a simulated stand: its first power, hours of burn-in, then every figure that it claims,
 * with simulated hands that patch, press and go on; in the end the truth beside what the bench concluded.
 */
import { mkdirSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { openBench, type OpenBench } from '../app/open-bench.ts'
import { RealClock, type Clock } from '../base/clock.ts'
import { makeLog } from '../base/log.ts'
import { poweringRequest, type PoweringRequest, type UnitSequence } from '../schema/powering.ts'
import type { RunRecord } from '../schema/run.ts'
import { unitRecordRequest } from '../schema/unit.ts'
import type { DemoOptions } from './context.ts'
import { seedOf, startBench } from './demo-bench.ts'
import { askBench } from './demo-control.ts'
import { UnitScreen } from './demo-unit-screen.ts'
import { unitJson, unitLines, unitOpening, type UnitTruth } from './demo-unit-text.ts'

interface Ready { benchFile: object; controlUrl: string; unit: string; sheet: { specimen: string } }

const hands = 'simulated hands'
/** What has not ended by then never will. */
const mostMs = 600_000

const job: readonly (Pick<PoweringRequest, 'use' | 'parameters'> & { sequence: UnitSequence })[] = [
  { sequence: 'first-power', use: 'attended', parameters: { warmS: 300 } },
  {
    sequence: 'burn-in', use: 'unattended', parameters: {
      programme: [
        { kind: 'tone', forS: 4800, powerShare: 0.125 }, { kind: 'cycles', forS: 1200, onS: 300, offS: 60 },
      ],
    },
  },
  { sequence: 'verify', use: 'attended', parameters: { warmS: 300 } },
]

/** Resolves with the exit code: 0 when each run came to its end, whatever the unit was worth. */
export async function runUnitDemo(options: DemoOptions, folder: string): Promise<number> {
  const clock = new RealClock()
  const startedMs = clock.monotonicMs()
  const profiles = join(folder, 'profiles', 'units')
  mkdirSync(profiles, { recursive: true })
  const sim = await startBench<Ready>(seedOf(options.seed), [
    '--stand', 'amplifier', '--present', '--wrong', 'wrong-claim',
    '--profile', join(profiles, 'saltmarsh-pavilion-amplifier.yaml'),
  ])
  const close: (() => Promise<void> | void)[] = [() => { sim.child.kill() }]
  try {
    const { ready } = sim
    const benchPath = join(folder, 'bench.json')
    writeFileSync(benchPath, JSON.stringify(ready.benchFile, null, 2))
    const { daemon, close: closeBench } = await openBench(benchPath, folder, makeLog('warn'))
    close.push(closeBench)
    const screen = new UnitScreen(options.out, options.json)
    screen.lines(unitOpening(options.seed))
    const stopHands = helpingHands(daemon, ready.controlUrl)
    close.push(stopHands)
    const runs = await wholeJob(daemon, ready, screen, clock)
    const record = await recordOf(daemon, ready.sheet.specimen, folder)
    const truth = await askBench(ready.controlUrl, { do: 'truth' }) as UnitTruth
    const [result = null] = await daemon.store.results(runs.at(-1)!.id)
    const summary = { runs, result, truth, record, wallS: (clock.monotonicMs() - startedMs) / 1000 }
    screen.end(unitLines(summary))
    if (options.json) options.out.write(`${JSON.stringify(unitJson(summary))}\n`)
    return runs.length === job.length && runs.every(({ state }) => state === 'done') ? 0 : 3
  } finally {
    for (const step of close.reverse()) await step()
  }
}

/** One run after the other, as long as each gets done. */
async function wholeJob(
  daemon: OpenBench['daemon'], { sheet }: Ready, screen: UnitScreen, clock: Clock,
): Promise<RunRecord[]> {
  const stopListening = daemon.subscribe(item => screen.show(item))
  const onInterrupt = (): void => { void daemon.stop('Ctrl-C') }
  process.on('SIGINT', onInterrupt)
  const cancel = clock.after(mostMs, () => void daemon.stop('the simulated hands found no end'))
  const runs: RunRecord[] = []
  try {
    for (const step of job) {
      const request = poweringRequest.parse({ ...sheet, ...step, person: hands, cautionsConfirmed: true })
      screen.lines(['', `nightbench ${step.sequence}`])
      const { id } = await daemon.powering.begin(request)
      const ended = await daemon.ended(id)
      runs.push(ended)
      if (ended.state !== 'done') break
    }
    return runs
  } finally {
    cancel()
    stopListening()
    process.off('SIGINT', onInterrupt)
  }
}

/** So often somebody says that they are there, by the wall of the bench. */
const hereEveryMs = 60_000

/** They do what a step asks, go on, and show presence. */
function helpingHands(daemon: OpenBench['daemon'], controlUrl: string): () => void {
  let doing = ''
  let hereMs = -Infinity
  return daemon.subscribe(() => {
    const { wallMs, powering: status } = daemon.status()
    if (wallMs - hereMs >= hereEveryMs) {
      // Before it is said: what is said is heard here as well.
      hereMs = wallMs
      void daemon.confirmPresence(hands).catch(() => { /* nobody is asked for */ })
    }
    const hold = status?.hold ?? null
    const key = hold ? `${status!.run} ${hold.id} ${hold.text}` : ''
    if (key === doing) return
    doing = key
    if (!hold) return
    void askBench(controlUrl, { do: 'obey', hold: hold.id })
      .then(() => daemon.powering.goOn(hold.id, hands)).catch(() => { /* the run has ended since */ })
  })
}

async function recordOf({ units }: OpenBench['daemon'], specimen: string, folder: string): Promise<string> {
  const path = join(folder, 'records')
  mkdirSync(path, { recursive: true })
  for (const format of ['json', 'html'] as const) {
    const asked = unitRecordRequest.parse({ specimen, format, verify: true })
    writeFileSync(join(path, `${specimen}.${format}`), await units.record(asked))
  }
  return join(path, `${specimen}.html`)
}
