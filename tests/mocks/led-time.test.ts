import { connect, type Socket } from 'node:net'
import { once } from 'node:events'
import { afterEach, describe, expect, test } from 'vitest'
import { LedTime, TimeServer } from '../../mocks/bench/led-time.ts'
import { sleep } from '../../src/base/clock.ts'
import { LedClock } from '../../src/base/led-clock.ts'

interface Now { now: number; n: number; wallMs?: number }

const open: { close(): void }[] = []
afterEach(() => { for (const thing of open.splice(0)) thing.close() })

async function bench(wallStartMs = 1_000_000) {
  const time = new LedTime(wallStartMs)
  const server = new TimeServer(time)
  const url = await server.listen()
  open.push(server)
  return { time, server, url, join: (name: string) => Client.join(Number(new URL(url).port), name) }
}

class Client {
  readonly socket: Socket
  readonly heard: Now[] = []
  #waiting: (() => void)[] = []

  constructor(socket: Socket) {
    this.socket = socket
    let partial = ''
    socket.setEncoding('latin1')
    socket.on('error', () => {})
    socket.on('data', text => {
      const lines = (partial + String(text)).split('\n')
      partial = lines.pop()!
      for (const line of lines) this.heard.push(JSON.parse(line) as Now)
      for (const wake of this.#waiting.splice(0)) wake()
    })
  }

  static async join(port: number, name: string): Promise<Client> {
    const client = new Client(connect(port, '127.0.0.1'))
    client.say({ hello: name })
    await client.next(1)
    open.push({ close: () => client.socket.destroy() })
    return client
  }

  say(line: object): void { this.socket.write(`${JSON.stringify(line)}\n`) }
  /** Waits until `count` messages in all were heard, and returns the last. */
  async next(count: number): Promise<Now> {
    while (this.heard.length < count) await new Promise<void>(resolve => this.#waiting.push(resolve))
    return this.heard[count - 1]!
  }
  /** Everything sent before has been read by the bench once it answers a second hello. */
  async settle(): Promise<void> { this.say({ hello: 'again' }); await this.next(this.heard.length + 1) }
}

describe('led time', () => {
  test('runs timers in order, each at its own time, and stands where it was told', () => {
    const time = new LedTime(0)
    const ran: string[] = []
    time.after(30, () => ran.push(`b ${time.monotonicMs()}`))
    time.after(
      10,
      () => { ran.push(`a ${time.monotonicMs()}`); time.after(5, () => ran.push(`c ${time.monotonicMs()}`)) }
    )
    const cancel = time.after(20, () => ran.push('cancelled'))
    cancel()
    time.advanceTo(40)
    expect(ran).toEqual(['a 10', 'c 15', 'b 30'])
    expect(time.monotonicMs()).toBe(40)
    expect(time.wallMs()).toBe(40)
  })
})

describe('the time server', () => {
  test('tells a newcomer what time it is, on both clocks', async () => {
    const { join } = await bench(5000)
    const client = await join('daemon')
    expect(client.heard[0]).toEqual({ now: 0, n: 0, wallMs: 5000 })
  })

  test('moves to the earliest timer of all clients once all are idle, and tells everyone', async () => {
    const { join } = await bench()
    const daemon = await join('daemon')
    const keeper = await join('keeper')
    daemon.say({ idle: 0, next: 300 })
    keeper.say({ idle: 0, next: 120 })
    expect(await keeper.next(2)).toEqual({ now: 120, n: 1 })
    expect(await daemon.next(2)).toEqual({ now: 120, n: 1 })
    daemon.say({ idle: 1, next: 300 })
    keeper.say({ idle: 1, next: null })
    expect(await keeper.next(3)).toEqual({ now: 300, n: 2 })
  })

  test('does not move while something of the bench itself is in flight, and does as soon as it is not', async () => {
    const { join, time } = await bench()
    const daemon = await join('daemon')
    const [one, other] = [time.hold(), time.hold()]
    daemon.say({ idle: 0, next: 100 })
    await daemon.settle()
    one()
    one()
    await new Promise(setImmediate)
    expect(time.monotonicMs()).toBe(0)
    other()
    expect((await daemon.next(3)).now).toBe(100)
  })

  test('does not move while one of them is busy, or has answered only an older message', async () => {
    const { join, time } = await bench()
    const daemon = await join('daemon')
    const keeper = await join('keeper')
    daemon.say({ idle: 0, next: 100 })
    await daemon.settle()
    expect(time.monotonicMs()).toBe(0)
    keeper.say({ idle: 0, next: 50 })
    await keeper.next(2)
    daemon.say({ idle: 0, next: 60 })
    keeper.say({ idle: 1, next: 60 })
    await daemon.settle()
    await keeper.settle()
    expect(time.monotonicMs()).toBe(50)
  })

  test('a client that says busy again holds time until it rests', async () => {
    const { join, time } = await bench()
    const daemon = await join('daemon')
    const keeper = await join('keeper')
    daemon.say({ idle: 0, next: 100 })
    daemon.say({ busy: true })
    await daemon.settle()
    keeper.say({ idle: 0, next: 100 })
    await keeper.settle()
    expect(time.monotonicMs()).toBe(0)
    daemon.say({ idle: 0, next: 80 })
    await daemon.next(daemon.heard.length + 1)
    expect(time.monotonicMs()).toBe(80)
  })

  test('stands still when nobody has a timer, and goes on when a waiting client has left', async () => {
    const { join, time } = await bench()
    const daemon = await join('daemon')
    daemon.say({ idle: 0, next: null })
    await daemon.settle()
    expect(time.monotonicMs()).toBe(0)
    const keeper = await join('keeper')
    daemon.say({ idle: 0, next: 500 })
    await daemon.settle()
    expect(time.monotonicMs()).toBe(0)
    const count = daemon.heard.length
    keeper.socket.destroy()
    expect(await daemon.next(count + 1)).toEqual({ now: 500, n: 1 })
  })

  test('runs the timers of instruments on the way, without asking anyone', async () => {
    const { join, time } = await bench()
    const ran: number[] = []
    for (const atMs of [10, 20, 30]) time.after(atMs, () => ran.push(time.monotonicMs()))
    const daemon = await join('daemon')
    daemon.say({ idle: 0, next: 25 })
    expect(await daemon.next(2)).toEqual({ now: 25, n: 1 })
    expect(ran).toEqual([10, 20])
  })

  test('a timer in the past is a turn, not a step back', async () => {
    const { join } = await bench()
    const daemon = await join('daemon')
    daemon.say({ idle: 0, next: 50 })
    await daemon.next(2)
    daemon.say({ idle: 1, next: 20 })
    expect(await daemon.next(3)).toEqual({ now: 50, n: 2 })
  })

  const wrong = ['what time is it?', '{"idle":"x","next":1}', '{"idle":0}', '7']
  test.each(wrong)('ends the connection on %j', async line => {
    const { join, server } = await bench()
    const client = await join('daemon')
    client.socket.write(`${line}\n`)
    await once(client.socket, 'close')
    await new Promise(resolve => setImmediate(resolve))
    expect(server.clients).toEqual([])
  })
})

test('two clocks of the daemon side share one time, each woken at its own timers only', async () => {
  const { url } = await bench(1_000_000)
  const join = async (name: string): Promise<LedClock> => {
    const clock = await LedClock.connect(url, name, { onLost: () => {} })
    open.push(clock)
    return clock
  }
  const daemon = await join('daemon')
  const keeper = await join('keeper')
  const woken: string[] = []
  const live = async (name: string, clock: LedClock, everyMs: number, times: number): Promise<void> => {
    for (let i = 0; i < times; i++) {
      await sleep(clock, everyMs)
      woken.push(`${name} ${clock.monotonicMs()}`)
    }
  }
  await Promise.all([live('daemon', daemon, 300, 4), live('keeper', keeper, 500, 3)])
  expect(woken.filter(line => line.startsWith('daemon'))).toEqual(
    [300, 600, 900, 1200].map(ms => `daemon ${ms}`)
  )
  expect(woken.filter(line => line.startsWith('keeper'))).toEqual([500, 1000, 1500].map(ms => `keeper ${ms}`))
  expect(daemon.wallMs() - daemon.monotonicMs()).toBe(1_000_000)
})
