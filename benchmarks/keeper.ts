/**
 * What the keeper costs: exchanges per second through its process, and microseconds through one in this
 * process.
 */
import { fork, spawn, type ChildProcess } from 'node:child_process'
import { mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import type { Duplex } from 'node:stream'
import { performance } from 'node:perf_hooks'
import { RealClock, VirtualClock } from '../src/base/clock.ts'
import { builtEntry } from '../src/base/paths.ts'
import { forkKeeper, inlineKeeper } from '../src/keeper/client.ts'
import { KeeperHost } from '../src/keeper/host.ts'
import type { SafeOffTable } from '../src/keeper/table.ts'
import { Session } from '../src/scpi/session.ts'
import { memoryLink } from '../src/transport/memory.ts'
import { openTransport } from '../src/transport/open.ts'

const table: SafeOffTable = {
  phases: [{ gapMs: 0, steps: [{ link: 'psu', step: { commands: ['OUTP OFF'] } }] }], refreshes: [], energising: [],
}

export interface KeeperRounds { rounds?: number; roundTrips?: number; warmUp?: number }
/** One entry a round; the rounds took turns. */
export interface KeeperFigures {
  readonly directPerS: number[]; readonly keeperPerS: number[]
  /** Through a process that passes bytes and does nothing else, no session at either end; TCP only. */
  readonly relayPerS: number[]
}

type Query = (command: string) => Promise<string>

const question = 'MEAS:VOLT:DC? (@101)'
/**
 * The device of this measurement answers one reading to whatever it is asked; that proves the link as an
 * identity.
 */
const settings = { deadlineMs: 2000, frameBytesMax: 4096, errorQueue: null, quietMs: 5,
  resync: 'identity' as const,
  identity: { query: '*IDN?', expected: '+1.23456789E+00' } }

/**
 * A direct session against the keeper's process, over a pseudo-terminal or loopback TCP. A keeper lives all night and
 * is a new process here, so that each has the exchanges of half an hour behind it before it is measured: young code is
 * slow code.
 */
export async function measureKeeper(kind: 'pty' | 'tcp', options: KeeperRounds = {}): Promise<KeeperFigures> {
  const { rounds = 5, roundTrips = 4000, warmUp = 20_000 } = options
  const { device, address } = await startDevice(kind)
  const url = kind === 'pty' ? `serial:${address}?baud=115200` : `tcp://127.0.0.1:${address}`
  const figures: KeeperFigures = { directPerS: [], keeperPerS: [], relayPerS: [] }
  try {
    for (let round = 0; round < rounds; round++) {
      figures.directPerS.push(await direct(url, query => perSecond(query, roundTrips, warmUp)))
      figures.keeperPerS.push(await throughKeeper(url, query => perSecond(query, roundTrips, warmUp)))
      if (kind === 'tcp') figures.relayPerS.push(await throughRelay(address, query => perSecond(query, roundTrips, warmUp)))
    }
    return figures
  } finally {
    device.kill()
  }
}

/**
 * Microseconds of one query in virtual time: by a session alone, and through an inline keeper; one entry a
 * round.
 */
export async function measureInline(
  options: KeeperRounds = {}
): Promise<{ sessionUs: number[]; keeperUs: number[] }> {
  const { rounds = 7, roundTrips = 200_000 } = options
  const clock = new VirtualClock()
  const link = memoryLink(clock, { onBytes: (_, reply) => reply('+1.23456789E+00\n') }, { latencyMs: 0.1 })
  const session = new Session(() => link.open(), { ...settings, name: 'psu', clock })
  const host = new KeeperHost({
    sessions: new Map([['psu', session]]), livenessClock: clock, benchClock: clock, log: () => {},
  })
  const port = inlineKeeper(host).port('psu')
  await clock.run(session.connect())
  const us = async (query: Query): Promise<number> => {
    const startMs = performance.now()
    await clock.run((async () => { for (let i = 0; i < roundTrips; i++) await query(question) })())
    return (performance.now() - startMs) * 1000 / roundTrips
  }
  const figures = { sessionUs: [] as number[], keeperUs: [] as number[] }
  for (let round = 0; round < rounds; round++) {
    figures.sessionUs.push(await us(command => session.query(command)))
    figures.keeperUs.push(await us(command => port.query(command)))
  }
  return figures
}

async function perSecond(query: Query, roundTrips: number, warmUp: number): Promise<number> {
  for (let i = 0; i < warmUp; i++) await query(question)
  const startMs = performance.now()
  for (let i = 0; i < roundTrips; i++) await query(question)
  return roundTrips * 1000 / (performance.now() - startMs)
}

async function direct(url: string, work: (query: Query) => Promise<number>): Promise<number> {
  const session = new Session(() => openTransport(url), { ...settings, name: 'psu', clock: new RealClock() })
  await session.connect()
  try { return await work(command => session.query(command)) } finally { await session.close() }
}

async function throughKeeper(url: string, work: (query: Query) => Promise<number>): Promise<number> {
  const dataFolder = mkdtempSync(join(tmpdir(), 'keeper-rate-'))
  const clock = new RealClock()
  const keeper = await forkKeeper({
    links: [
      { name: 'psu', url, settings }
    ], dataFolder, clock: { kind: 'real' }, benchClock: clock, livenessClock: clock,
  })
  const port = keeper.port('psu')
  try {
    // Armed, as it is all night. Nobody beats here, so the limit is longer than the measurement.
    await port.query(question)
    await keeper.arm(table, 60_000)
    return await work(command => port.query(command))
  } finally {
    await keeper.close()
    rmSync(dataFolder, { recursive: true, force: true })
  }
}

async function throughRelay(port: string, work: (query: Query) => Promise<number>): Promise<number> {
  const child = spawn(process.execPath, [builtEntry('benchmarks/relay'), port],
    { stdio: ['ignore', 'inherit', 'inherit', 'overlapped'] })
  const pipe = child.stdio[3] as Duplex
  let answered: (text: string) => void = () => {}
  pipe.on('data', (chunk: Buffer) => { answered(chunk.toString('latin1')) })
  const ended = new Promise<never>((_, reject) => child.once('exit', code => reject(new Error(`the relay ended with ${code}`))))
  ended.catch(() => {})
  try {
    return await Promise.race([ended, work(command => new Promise(resolve => {
      answered = resolve
      pipe.write(`${command}\n`, 'latin1')
    }))])
  } finally {
    child.kill()
  }
}

function startDevice(kind: 'tcp' | 'pty'): Promise<{ device: ChildProcess; address: string }> {
  const device = fork(builtEntry('benchmarks/echo-device'), [kind], { execArgv: [] })
  return new Promise((resolve, reject) => {
    device.once('message', address => resolve({ device, address: String(address) }))
    device.once('error', reject)
    device.once('exit', code => reject(new Error(`the ${kind} device ended with ${code}`)))
  })
}
