import { createServer, type AddressInfo, type Socket } from 'node:net'
import { afterEach, describe, expect, it } from 'vitest'
import { sleep } from '../../src/base/clock.ts'
import type { BenchError } from '../../src/base/errors.ts'
import { LedClock } from '../../src/base/led-clock.ts'
import { LedTime, TimeServer } from '../../mocks/bench/led-time.ts'

/** A time server of one client: it says what it is told to say, and keeps what it hears. */
class TinyServer {
  readonly heard: object[] = []
  #socket: Socket | null = null
  #waiting: (() => void)[] = []
  #server = createServer(socket => {
    this.#socket = socket
    let text = ''
    socket.on('error', () => {})
    socket.on('data', chunk => {
      text += String(chunk)
      const lines = text.split('\n')
      text = lines.pop()!
      for (const line of lines) this.heard.push(JSON.parse(line) as object)
      for (const wake of this.#waiting.splice(0)) wake()
    })
  })
  async url(): Promise<string> {
    await new Promise<void>(resolve => this.#server.listen(0, '127.0.0.1', resolve))
    return `tcp://127.0.0.1:${(this.#server.address() as AddressInfo).port}`
  }
  say(message: object | string): void {
    this.#socket!.write(typeof message === 'string' ? message : `${JSON.stringify(message)}\n`)
  }
  now(ms: number, n: number): void { this.say({ now: ms, n, ...(n === 0 && { wallMs: 1000 + ms }) }) }
  async until(count: number): Promise<object[]> {
    while (this.heard.length < count) await new Promise<void>(resolve => this.#waiting.push(resolve))
    return this.heard
  }
  end(): void { this.#socket?.destroy(); this.#server.close() }
}

let server: TinyServer
let clock: LedClock | null = null
let lost: BenchError[] = []
let onLost: () => void = () => {}
async function join(): Promise<LedClock> {
  server = new TinyServer()
  lost = []
  const url = await server.url()
  const joining = LedClock.connect(url, 'daemon', { onLost: error => { lost.push(error); onLost() } })
  await server.until(1)
  server.now(0, 0)
  clock = await joining
  return clock
}
afterEach(() => { clock?.close(); server.end(); onLost = () => {} })
/** Several turns of the event loop, so that what would be said wrongly has had its chance. */
const turns = async (): Promise<void> => {
  for (let i = 0; i < 20; i++) await new Promise(resolve => setImmediate(resolve))
}

describe('the led clock', () => {
  it('says its name, takes the time, and is idle with nothing to do', async () => {
    const led = await join()
    expect(await server.until(2)).toEqual([{ hello: 'daemon' }, { idle: 0, next: null }])
    expect([led.monotonicMs(), led.wallMs()]).toEqual([0, 1000])
  })

  it('runs due timers in order, each after all consequences of the one before', async () => {
    const led = await join()
    const order: string[] = []
    const chain = async (name: string, ms: number): Promise<void> => {
      await sleep(led, ms)
      order.push(`${name}@${led.monotonicMs()}`)
      await Promise.resolve()
      order.push(`${name} rests`)
    }
    const both = Promise.all([chain('late', 20), chain('early', 10)])
    await server.until(2)
    expect(server.heard.at(-1)).toEqual({ idle: 0, next: 10 })
    server.now(25, 1)
    await both
    expect(order).toEqual(['early@25', 'early rests', 'late@25', 'late rests'])
  })

  it('is not idle while anything is held, and is again one turn after the last release', async () => {
    const led = await join()
    await server.until(2)
    const first = led.hold()
    const second = led.hold()
    expect(await server.until(3)).toContainEqual({ busy: true })
    first()
    first()
    await turns()
    expect(server.heard).toHaveLength(3)
    second()
    expect((await server.until(4)).at(-1)).toEqual({ idle: 0, next: null })
  })

  it('takes an idle back when a timer is set from outside a turn', async () => {
    const led = await join()
    await server.until(2)
    let ran = 0
    led.after(50, () => { ran++ })
    expect((await server.until(4)).slice(2)).toEqual([{ busy: true }, { idle: 0, next: 50 }])
    server.now(49, 1)
    await server.until(5)
    expect(ran).toBe(0)
    server.now(50, 2)
    expect((await server.until(6)).at(-1)).toEqual({ idle: 2, next: null })
    expect(ran).toBe(1)
  })

  it('runs a timer that is due already without a new time, before it is idle', async () => {
    const led = await join()
    await server.until(2)
    await sleep(led, 0)
    expect(led.monotonicMs()).toBe(0)
  })

  it('never runs a timer that was cancelled', async () => {
    const led = await join()
    const cancel = led.after(10, () => { throw new Error('ran') })
    cancel()
    server.now(10, 1)
    expect((await server.until(2)).at(-1)).toMatchObject({ next: null })
  })

  it('never goes back', async () => {
    const led = await join()
    await server.until(2)
    server.now(100, 1)
    await server.until(3)
    server.now(40, 2)
    await server.until(4)
    expect([led.monotonicMs(), led.wallMs()]).toEqual([100, 1100])
  })

  it('tells once when the server is gone, and when it talks nonsense', async () => {
    for (const end of [
      () => server.end(), () => server.say('{"now":"soon"}\n'), () => server.say('x'.repeat(5000))
    ]) {
      await join()
      const told = new Promise<void>(resolve => { onLost = resolve })
      end()
      await told
      await turns()
      expect(lost.map(error => error.code)).toEqual(['LINK_DOWN'])
      server.end()
    }
  })

  it('does not tell when it is closed by its own side', async () => {
    const led = await join()
    led.close()
    await turns()
    expect(lost).toEqual([])
  })

  it('refuses a server that is not there and a URL that is none', async () => {
    await join()
    await expect(
      LedClock.connect('tcp://127.0.0.1:1', 'x', { onLost: () => {} })
    ).rejects.toMatchObject({ code: 'LINK_OPEN' })
    await expect(
      LedClock.connect('http://a', 'x', { onLost: () => {} })
    ).rejects.toMatchObject({ code: 'LINK_URL' })
  })
})

describe('two led clocks at the time server of the simulated bench', () => {
  it('pass a long time quickly, together, and never while one of them holds', async () => {
    const times = new TimeServer(new LedTime(5000))
    const url = await times.listen()
    const options = { onLost: () => {} }
    const [a, b] = await Promise.all(
      [LedClock.connect(url, 'a', options), LedClock.connect(url, 'b', options)]
    )
    try {
      const startMs = a.monotonicMs()
      let ticks = 0
      const every = async (clock: LedClock, ms: number, count: number): Promise<void> => {
        for (let i = 0; i < count; i++) { await sleep(clock, ms); ticks++ }
      }
      await Promise.all([every(a, 100, 300), every(b, 250, 120)])
      expect(ticks).toBe(420)
      expect(
        [a.monotonicMs(), b.monotonicMs(), a.wallMs()]
      ).toEqual([startMs + 30_000, startMs + 30_000, startMs + 35_000])
      expect(times.advances).toBeLessThanOrEqual(420)
      const release = b.hold()
      // The server must have heard of the hold before a timer of the other is offered to it.
      await turns()
      const slept = sleep(a, 10)
      await turns()
      expect(a.monotonicMs()).toBe(startMs + 30_000)
      release()
      await slept
      expect(a.monotonicMs()).toBe(startMs + 30_010)
    } finally {
      for (const clock of [a, b]) clock.close()
      times.close()
    }
  })
})
