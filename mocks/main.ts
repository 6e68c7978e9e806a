/**
 * A simulated bench as a process of its own:
 *   node dist/mocks/main.js --seed 7 [--scenario pavilion | --jig | --stand UNIT] [--realtime] [--serial] …
 * When it is ready it says so in words to a terminal, and in one JSON line to anything else. It lives until
 * its standard input closes where that is a pipe, and until a signal elsewhere: what a shell runs behind `&`
 * has no input, or none that it may read.
 */
import { fstatSync, readFileSync, writeFileSync } from 'node:fs'
import { parseArgs } from 'node:util'
import type { Scenario } from './bench/scenario.ts'
import { scenarioHealthyRack, scenarioPavilion } from './bench/scenarios.ts'
import { serveBench } from './bench/serve-bench.ts'
import { serveJig } from './bench/serve-jig.ts'
import { serveStand, standUnits, unitFaultsOf, type StandUnit } from './bench/serve-stand.ts'
import type { BenchFaults } from './bench/sim-bench.ts'

const usage = `usage: main.js [--seed N] [--scenario pavilion | rack-N] [--realtime] [--serial]
               [--faults FILE] [--base-port N] [--wall MS] [--present] [--bench-file FILE]
       main.js --jig [--cover | --tray N] [--hands URL] [--seed N] [--realtime] [--serial]
               [--faults FILE] [--base-port N] [--wall MS] [--bench-file FILE]
       main.js --stand amplifier | monitor [--wrong FAULT,…] [--seed N] [--realtime] [--serial] [--present]
               [--sheet FILE] [--profile FILE] [--faults FILE] [--base-port N] [--wall MS]
               [--bench-file FILE]`

type Asked = ReturnType<typeof options>
function options() {
  const { values } = parseArgs({
    options: {
      seed: { type: 'string', default: '1' }, scenario: { type: 'string' },
      realtime: { type: 'boolean', default: false }, serial: { type: 'boolean', default: false },
      faults: { type: 'string' }, 'base-port': { type: 'string' }, wall: { type: 'string' },
      present: { type: 'boolean', default: false }, 'bench-file': { type: 'string' },
      jig: { type: 'boolean', default: false }, cover: { type: 'boolean', default: false },
      tray: { type: 'string' },
      hands: { type: 'string' }, stand: { type: 'string' }, wrong: { type: 'string' },
      sheet: { type: 'string' }, profile: { type: 'string' },
    },
  })
  return values
}

function scenarioOf(name: string, seed: number): Scenario {
  if (name === 'pavilion') return scenarioPavilion(seed)
  const match = /^rack-(\d{1,3})$/.exec(name)
  const count = Number(match?.[1] ?? 0)
  if (count < 1 || count > 479) throw new Error(`no such scenario: ${name}`)
  return scenarioHealthyRack(count, seed)
}

function wholeNumber(text: string, what: string): number {
  if (!/^\d+$/.test(text)) throw new Error(`${what} is a whole number, not ${text}`)
  return Number(text)
}

/** What both benches are served with. */
const servedWith = (asked: Asked) => ({
  seed: wholeNumber(asked.seed, '--seed'), realtime: asked.realtime, serial: asked.serial,
  wallStartMs: asked.wall === undefined ? Date.now() : wholeNumber(asked.wall, '--wall'),
  ...(asked['base-port'] === undefined ? {} : { basePort: wholeNumber(asked['base-port'], '--base-port') }),
})

/** Of its tray: as many as its scanner has channels, at most. */
function positionsOf({ tray, cover }: Asked): number {
  if (tray === undefined) return 0
  const count = wholeNumber(tray, '--tray')
  if (count < 4 || count > 40) throw new Error(`a tray has 4 to 40 positions, not ${tray}`)
  if (cover) throw new Error('a jig with a cover has no tray')
  return count
}

/** In words, and for a program. */
interface Said { what: string; also: string; ready: { benchFile: object } & Record<string, unknown> }

async function rack(asked: Asked): Promise<Said> {
  if (asked.hands !== undefined) throw new Error('--hands is for a bench with --jig')
  if (asked.wrong !== undefined) throw new Error('--wrong is for a bench with --stand')
  if ((asked.sheet ?? asked.profile) !== undefined) {
    throw new Error('--sheet and --profile are for a bench with --stand')
  }
  if (asked.cover) throw new Error('--cover is for a bench with --jig')
  if (asked.tray !== undefined) throw new Error('--tray is for a bench with --jig')
  const served = await serveBench({
    ...servedWith(asked),
    scenario: scenarioOf(asked.scenario ?? 'pavilion', wholeNumber(asked.seed, '--seed')),
    ...(asked.faults === undefined ? {} : { faults: faultsIn(asked.faults) }),
  })
  served.bench.switches.present = asked.present
  const { benchFile, timeUrl, controlUrl } = served
  const parts = served.bench.scenario.parts.map(({ position, id }) => ({
    position, part: id, profile: served.bench.scenario.partProfile,
  }))
  return {
    what: `A simulated bench of ${parts.length} parts`, also: '',
    ready: { benchFile, timeUrl, controlUrl, truthUrl: controlUrl, parts },
  }
}

async function jig(asked: Asked): Promise<Said> {
  if (asked.scenario !== undefined) throw new Error('a jig has one scenario: leave --scenario out')
  if (asked.hands !== undefined && !/^http:\/\/[^/]+/.test(asked.hands)) {
    throw new Error(`--hands is the address of a daemon, http://…, not ${asked.hands}`)
  }
  const { instruments, ...others } = asked.faults === undefined ? {} : faultsIn(asked.faults)
  if (Object.keys(others).length > 0) throw new Error('a jig has faults of its instruments alone')
  const { benchFile, timeUrl, controlUrl, drawer, follow } = await serveJig({
    ...servedWith(asked), faults: instruments ?? {}, covered: asked.cover, tray: positionsOf(asked),
  })
  if (asked.hands !== undefined) void follow(asked.hands)
  const table = [...drawer.parts.keys()]
  return {
    what: `A simulated jig with ${table.length} parts beside it`,
    also: asked.hands === undefined ? ` Hands are led at ${controlUrl}.` : '',
    ready: {
      benchFile, timeUrl, controlUrl, truthUrl: controlUrl, table, standards: drawer.standards,
    },
  }
}

async function stand(asked: Asked): Promise<Said> {
  const name = asked.stand!
  if (!Object.hasOwn(standUnits, name)) {
    throw new Error(`no unit ${name} for a stand: ${Object.keys(standUnits).join(', ')}`)
  }
  for (const other of ['scenario', 'hands', 'tray'] as const) {
    if (asked[other] !== undefined) throw new Error(`a stand has no --${other}`)
  }
  if (asked.jig || asked.cover) throw new Error('a stand has no jig')
  const { instruments, ...others } = asked.faults === undefined ? {} : faultsIn(asked.faults)
  if (Object.keys(others).length > 0) throw new Error('a stand has faults of its instruments alone')
  const { benchFile, timeUrl, controlUrl, scenario, sheet, profile } = await serveStand({
    ...servedWith(asked), unit: name as StandUnit, wrong: unitFaultsOf(asked.wrong ?? ''),
    faults: instruments ?? {}, present: asked.present, printed: asked.profile !== undefined,
  })
  if (asked.sheet !== undefined) writeJson(asked.sheet, sheet)
  if (asked.profile !== undefined && profile) writeJson(asked.profile, profile)
  return {
    what: `A simulated stand with ${scenario.name} on it`, also: '',
    ready: { benchFile, timeUrl, controlUrl, truthUrl: controlUrl, unit: scenario.name, sheet },
  }
}

const writeJson = (file: string, value: object): void =>
  writeFileSync(file, `${JSON.stringify(value, null, 2)}\n`)

const faultsIn = (file: string): BenchFaults => JSON.parse(readFileSync(file, 'utf8')) as BenchFaults

async function main(): Promise<void> {
  const asked = options()
  const { what, also, ready } = await (asked.stand !== undefined ? stand : asked.jig ? jig : rack)(asked)
  const written = asked['bench-file']
  if (written !== undefined) writeJson(written, ready.benchFile)
  if (process.stdout.isTTY) {
    const file = written ?? 'not written; --bench-file FILE writes it'
    console.log(`${what} is ready; Ctrl-C ends it.${also} Bench file: ${file}`)
  } else console.log(JSON.stringify(ready))
  if (isPipe(0)) endWithInput()
}

/** Whoever started us by a pipe and is gone has closed it. A terminal or an empty input says nothing. */
function isPipe(handle: number): boolean {
  try {
    const kind = fstatSync(handle)
    return kind.isFIFO() || kind.isSocket()
  } catch { return false }
}

function endWithInput(): void {
  process.stdin.resume()
  process.stdin.on('end', () => process.exit(0))
  process.stdin.on('error', () => process.exit(0))
}

main().catch((error: unknown) => {
  console.error(error instanceof Error ? error.message : error)
  console.error(usage)
  process.exitCode = 2
})
