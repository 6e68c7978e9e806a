/** What a session costs on top of its link: round trips per second of a bare loop and of session.query, in turns. */
import { type ChildProcess, fork } from 'node:child_process'
import { connect } from 'node:net'
import { performance } from 'node:perf_hooks'
import { SerialPort } from 'serialport'
import { RealClock, VirtualClock } from '../src/base/clock.ts'
import { builtEntry } from '../src/base/paths.ts'
import { openTransport } from '../src/transport/open.ts'
import { memoryLink } from '../src/transport/memory.ts'
import { Session } from '../src/scpi/session.ts'

export interface LinkFigures {
  /** Round trips per second, one entry a round; the rounds took turns. */
  readonly barePerS: number[]
  readonly sessionPerS: number[]
}

export interface LinkRounds { rounds?: number; roundTrips?: number; warmUp?: number }

const question = 'MEAS:VOLT:DC? (@101)'

/** A bare `net` loop against session.query over loopback TCP; the device is another process. */
export async function measureTcp(options: LinkRounds = {}): Promise<LinkFigures> {
  const { device, address } = await startDevice('tcp')
  try {
    return await takeTurns(`tcp://127.0.0.1:${address}`, () => bareTcp(Number(address)), { roundTrips: 20_000, ...options })
  } finally {
    device.kill()
  }
}

/** A bare serialport loop against session.query over a pseudo-terminal. Rejects with the reason where there is none. */
export async function measurePty(options: LinkRounds = {}): Promise<LinkFigures> {
  const { device, address } = await startDevice('pty')
  try {
    return await takeTurns(`serial:${address}?baud=115200`, () => barePort(address), { roundTrips: 8000, ...options })
  } finally {
    device.kill()
  }
}

/** Microseconds of one session.query in virtual time, to a device that answers at once; one entry a round. */
export async function measureMemory(options: LinkRounds = {}): Promise<number[]> {
  const { rounds = 7, roundTrips = 200_000 } = options
  const clock = new VirtualClock()
  const link = memoryLink(clock, { onBytes: (_, reply) => reply('+1.23456789E+00\n') }, { latencyMs: 0.1 })
  const session = sessionOver(() => link.open(), clock)
  const figures: number[] = []
  await clock.run(session.connect())
  for (let round = 0; round < rounds; round++) {
    const startMs = performance.now()
    await clock.run((async () => { for (let i = 0; i < roundTrips; i++) await session.query(question) })())
    figures.push((performance.now() - startMs) * 1000 / roundTrips)
  }
  return figures
}

interface Loop { run(count: number): Promise<void>; close(): Promise<void> }

async function takeTurns(url: string, openBare: () => Promise<Loop>, options: LinkRounds): Promise<LinkFigures> {
  const { rounds = 7, roundTrips = 10_000, warmUp = 3000 } = options
  const figures: LinkFigures = { barePerS: [], sessionPerS: [] }
  for (let round = 0; round < rounds; round++) {
    // A serial port serves one at a time, so each turn opens its own link.
    figures.barePerS.push(await perSecond(await openBare(), roundTrips, warmUp))
    figures.sessionPerS.push(await perSecond(await sessionLoop(url), roundTrips, warmUp))
  }
  return figures
}

async function perSecond(loop: Loop, roundTrips: number, warmUp: number): Promise<number> {
  await loop.run(warmUp)
  const startMs = performance.now()
  await loop.run(roundTrips)
  const elapsedMs = performance.now() - startMs
  await loop.close()
  return roundTrips * 1000 / elapsedMs
}

async function sessionLoop(url: string): Promise<Loop> {
  const session = sessionOver(() => openTransport(url), new RealClock())
  await session.connect()
  return {
    run: async count => { for (let i = 0; i < count; i++) await session.query(question) },
    close: () => session.close(),
  }
}

function sessionOver(open: ConstructorParameters<typeof Session>[0], clock: RealClock | VirtualClock): Session {
  return new Session(open, {
    name: 'echo', clock, deadlineMs: 2000, frameBytesMax: 4096, errorQueue: null, quietMs: 5,
    // The device answers every line alike, so its one answer is its identity.
    resync: 'identity', identity: { query: '*IDN?', expected: '+1.23456789E+00' },
  })
}

interface ByteStream {
  write(text: string, encoding: 'latin1'): unknown
  on(event: 'data', listener: (chunk: Buffer) => void): unknown
}

/** The least a program can do: write, wait for a line end, write again. */
function loopOver(stream: ByteStream, close: () => Promise<void>): Loop {
  let left = 0
  let done = (): void => {}
  stream.on('data', chunk => {
    if (chunk[chunk.length - 1] !== 10) return
    if (--left > 0) stream.write(`${question}\n`, 'latin1')
    else done()
  })
  return {
    run: count => new Promise(resolve => { left = count; done = resolve; stream.write(`${question}\n`, 'latin1') }),
    close,
  }
}

async function bareTcp(port: number): Promise<Loop> {
  const socket = connect({ host: '127.0.0.1', port, noDelay: true })
  await new Promise<void>((resolve, reject) => { socket.once('connect', resolve); socket.once('error', reject) })
  return loopOver(socket, async () => { socket.destroy() })
}

async function barePort(path: string): Promise<Loop> {
  const port = new SerialPort({ path, baudRate: 115200, autoOpen: false })
  await new Promise<void>((resolve, reject) => port.open(error => error ? reject(error) : resolve()))
  return loopOver(port, () => new Promise(resolve => port.close(() => resolve())))
}

function startDevice(kind: 'tcp' | 'pty'): Promise<{ device: ChildProcess; address: string }> {
  const device = fork(builtEntry('benchmarks/echo-device'), [kind], { stdio: ['ignore', 'ignore', 'inherit', 'ipc'], execArgv: [] })
  return new Promise((resolve, reject) => {
    device.once('message', address => resolve({ device, address: String(address) }))
    device.once('exit', code => reject(new Error(`the echo device ended with ${code}`)))
  })
}
