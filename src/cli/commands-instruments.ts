/**
 * `instruments`: ports of this computer, who answers where the bench file says, and one question to a port
 * that is named.
 */
import type { Command } from 'commander'
import { dataFolderOf } from '../base/daemon-file.ts'
import { hasCode } from '../base/errors.ts'
import type { InstrumentCheck, PortEntry, ProbeAnswer, SelfCheck } from '../schema/application.ts'
import type { DaemonClient } from './client.ts'
import type { Act } from './commands-bench.ts'
import { askedDaemon, daemonOf, print, printJson, type CliContext, type CommonOptions } from './context.ts'
import { exitCodes, type ExitCode } from './exit.ts'
import { renderTable } from './table.ts'

interface InstrumentsOptions extends CommonOptions { probe?: string[]; bench?: string }

/** What was found; null where it was not asked for, or nobody was there to ask. */
interface Found { instruments: InstrumentCheck[] | null; ports: PortEntry[]; probes: ProbeAnswer[] }

const checkMs = 120_000
const caution = 'Opening a serial port raises its modem lines (DTR, RTS), and some boards reset on it. '
  + '*IDN? is asked, and nothing else.'

export function addInstrumentsCommand(program: Command, context: CliContext, act: Act): void {
  act(program.command('instruments').argument('[names...]', 'only these')
    .option('--probe <url>',
      'ask *IDN? of this port instead, e.g. serial:/dev/ttyUSB0?baud=9600; may be given often', collect)
    .option('--bench <file>', 'without a daemon: the bench file that the ports are held against')
    .description('list ports; ask every instrument of the bench who it is, and whether its profile fits'),
  async (names: string[], options: InstrumentsOptions) => await instruments(context, names, options))
}

async function instruments(
  context: CliContext, names: readonly string[], options: InstrumentsOptions
): Promise<ExitCode> {
  const probes = options.probe ?? []
  if (probes.some(url => url.startsWith('serial:'))) print(context.err, caution)
  const { client, why, late } = await daemonOrNone(context, names, options)
  const found = client ? await askDaemon(client, names, probes) : await askHere(context, probes, options)
  if (options.json) printJson(context.out, found)
  else print(context.out, ...lines(found))
  if (why !== null && probes.length === 0) print(context.err, `${why}: no instrument of a bench was asked.`)
  return late ? exitCodes.fault : exitOf(found)
}

/** A daemon that was named must answer. `late`: the note in the data folder tells of one that does not. */
async function daemonOrNone(
  context: CliContext, names: readonly string[], options: InstrumentsOptions,
): Promise<{ client: DaemonClient | null; why: string | null; late: boolean }> {
  const mustAnswer = askedDaemon(context, options).folder === null || names.length > 0
  if (options.bench !== undefined && !mustAnswer) return {
    client: null, why: 'Looked without a daemon', late: false
  }
  let client: DaemonClient | null = null
  try {
    client = daemonOf(context, options)
    await client.get('/status')
    return { client, why: null, late: false }
  } catch (error) {
    if (mustAnswer || !hasCode(error, 'DAEMON_GONE')) throw error
    return {
      client: null, why: client ? 'The daemon does not answer' : 'No daemon is running', late: client !== null
    }
  }
}

async function askDaemon(
  client: DaemonClient, names: readonly string[], probes: readonly string[]
): Promise<Found> {
  const ports = await client.get<PortEntry[]>('/ports')
  const answers: ProbeAnswer[] = []
  for (const url of probes) answers.push(await client.post<ProbeAnswer>('/ports/probe', { url }))
  if (probes.length > 0 && names.length === 0) return { instruments: null, ports, probes: answers }
  const checks = names.length > 0
    ? await client.post<InstrumentCheck[]>('/instruments/check', { names }, checkMs)
    : await client.get<InstrumentCheck[]>('/instruments', checkMs)
  return { instruments: checks, ports, probes: answers }
}

async function askHere(
  context: CliContext, probes: readonly string[], options: InstrumentsOptions
): Promise<Found> {
  const { localPorts } = await context.loadPorts()
  const here = localPorts(options.bench, dataFolderOf(options.data, context.env), context.clock)
  const answers: ProbeAnswer[] = []
  for (const url of probes) answers.push(await here.probe(url))
  return { instruments: null, ports: await here.list(), probes: answers }
}

function exitOf({ instruments, probes }: Found): ExitCode {
  const good = (instruments ?? []).every(({ matches, selfCheck }) => matches && isGood(selfCheck))
    && probes.every(({ identity }) => identity !== null)
  return good ? exitCodes.accepted : exitCodes.fault
}

const isGood = (check: SelfCheck | null): boolean =>
  check === null || (check.waiting.length === 0 && check.wrong.length === 0)

function lines({ instruments, ports, probes }: Found): string[] {
  const blocks = [
    ...(instruments === null ? [] : [[...instrumentTable(instruments), ...instruments.flatMap(faultLines)]]),
    ...(probes.length === 0 ? [] : [probeTable(probes)]),
    portTable(ports),
  ]
  return blocks.flatMap((block, i) => i === 0 ? block : ['', ...block])
}

function instrumentTable(checks: readonly InstrumentCheck[]): string[] {
  return renderTable(
    [
      'instrument', 'serves as', 'instrument profile', 'connection', 'verdict', 'profile fits', 'calibration',
      'identity',
    ].map(heading => ({ heading })),
    checks.map(check => [
      check.name, check.roles.join(', '), check.profile, check.url,
      check.matches ? 'as entered' : check.problem ?? 'another instrument', fitWords(check.selfCheck),
      calibrationCell(check),
      check.identity ?? '–',
    ]),
  )
}

function calibrationCell({ calibration, calibrated }: InstrumentCheck): string {
  if (calibration === null) return '–'
  if (calibrated === null) return 'not entered'
  return calibration === 'in date' ? `until ${calibrated.due}` : `PAST DUE since ${calibrated.due}`
}

function fitWords(check: SelfCheck | null): string {
  if (check === null) return 'not asked'
  if (check.wrong.length > 0) return 'NO, see below'
  if (check.waiting.length > 0) return 'had errors, see below'
  if (check.asked === 0) return 'no error'
  return `${check.asked} ${check.asked === 1 ? 'answer' : 'answers'}, no error`
}

function faultLines({ name, selfCheck }: InstrumentCheck): string[] {
  return [
    ...(selfCheck?.waiting ?? []).map(text => `${name}: its error queue held ${text}; it is empty now`),
    ...(selfCheck?.wrong ?? []).map(text => `${name}: ${text}`),
  ]
}

function probeTable(probes: readonly ProbeAnswer[]): string[] {
  return renderTable([
    'asked', 'identity', 'in the bench file', 'instrument profile'
  ].map(heading => ({ heading })),
    probes.map(({ url, identity, problem, entered, profiles }) => [
      url, identity ?? `no answer: ${problem ?? ''}`, entered ?? 'no',
      identity === null
        ? '–'
        : profiles.join(', ') || 'none is named so: choose by class, and see docs/profiles.md',
    ]))
}

function portTable(ports: readonly PortEntry[]): string[] {
  if (ports.length === 0) return ['No serial port and no USBTMC device is here.']
  return renderTable([
    'port', 'write in the bench file', 'in the bench file', 'says', 'note'
  ].map(heading => ({ heading })),
    ports.map(({ path, url, inBench, usb, says, note }) => [
      path, url, inBench ?? 'no', [
        says, usb ? `${usb.vendorId}:${usb.productId} ${usb.serial}`.trim() : ''
      ].filter(Boolean).join(', ') || '–',
      note,
    ]))
}

const collect = (value: string, before: string[] = []): string[] => [...before, value]
