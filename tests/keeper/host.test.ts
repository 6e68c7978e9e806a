import { describe, expect, it } from 'vitest'
import { sleep, VirtualClock } from '../../src/base/clock.ts'
import { inlineKeeper } from '../../src/keeper/client.ts'
import { KeeperHost, type KeeperEvent } from '../../src/keeper/host.ts'
import { readsSafe } from '../../src/keeper/safe-off.ts'
import { Session } from '../../src/scpi/session.ts'
import { memoryLink, type MemoryLink } from '../../src/transport/memory.ts'
import { table } from './sample.ts'

/** What a line sets and what a query answers; `mute` queries are never answered. */
class Device {
  readonly lines: { atMs: number; line: string }[] = []
  readonly answers: Record<string, string>
  mute = new Set<string>()
  #text = ''
  readonly #clock: VirtualClock
  #ese = '0'
  constructor(
    clock: VirtualClock, answers: Record<string, string>
  ) { this.#clock = clock; this.answers = answers }
  onBytes(chunk: Uint8Array, reply: (text: string) => void): void {
    this.#text += Buffer.from(chunk).toString('latin1')
    const lines = this.#text.split('\n')
    this.#text = lines.pop()!
    for (const line of lines.filter(one => one !== '')) {
      this.lines.push({ atMs: this.#clock.monotonicMs(), line })
      if (line.startsWith('*ESE ')) this.#ese = line.slice(5)
      const answer = line === '*ESE?' ? this.#ese : this.answers[line]
      if (answer !== undefined && !this.mute.has(line)) reply(`${answer}\n`)
    }
  }
  said(line: string): number[] { return this.lines.filter(one => one.line === line).map(one => one.atMs) }
}

function bench({ notices = true } = {}) {
  const clock = new VirtualClock()
  const devices = {
    relay: new Device(
      clock, { 'OUTP:STAT?': '0' }
    ), psu: new Device(clock, { 'OUTP?': '0', 'MEAS:VOLT?': '1.5' }),
    board: new Device(clock, {}),
  }
  const links: Record<string, MemoryLink> = {}
  const sessions = new Map<string, Session>()
  const logged: [string, object][] = []
  const host = new KeeperHost({
    sessions, livenessClock: clock, benchClock: clock, log: (what, detail) => { logged.push([what, detail]) },
  })
  for (const [name, device] of Object.entries(devices)) {
    links[name] = memoryLink(clock, device, { latencyMs: 2 })
    sessions.set(name, new Session(links[name].open, {
      name, clock, deadlineMs: 1000, frameBytesMax: 1000, errorQueue: null,
      onNotice: notice => { if (notices && notice.what === 'down') host.linkLost(name) },
    }))
  }
  const keeper = inlineKeeper(host)
  const events: KeeperEvent[] = []
  keeper.onEvent(event => events.push(event))
  return { clock, devices, links, keeper, events, logged }
}
type Bench = ReturnType<typeof bench>

async function armed(b: Bench): Promise<void> {
  await b.keeper.configure(table)
  for (const link of ['relay', 'psu', 'board']) await b.keeper.port(link).write('*CLS')
  await b.keeper.arm(table, 300)
}

describe('the keeper host in virtual time', () => {
  it('opens a link at the first exchange and passes exchanges both ways', async () => {
    const b = bench()
    expect(await b.clock.run(b.keeper.port('psu').query('MEAS:VOLT?'))).toBe('1.5')
    await b.keeper.configure(table)
    await b.clock.run(b.keeper.port('psu').write('VOLT 5'))
    expect(b.devices.psu.said('VOLT 5')).toHaveLength(1)
  })

  it('refreshes the cutoff only while armed, and makes safe in order when beats end', async () => {
    const b = bench()
    const startMs = await b.clock.run((async () => {
      await b.keeper.configure(table)
      await sleep(b.clock, 3000)
      expect(b.devices.relay.said('OUTP:HOLD')).toEqual([])
      await armed(b)
      await b.keeper.port('relay').write('OUTP:CLOS')
      const start = b.clock.monotonicMs()
      for (let i = 0; i < 20; i++) { await sleep(b.clock, 100); b.keeper.beat(true) }
      return start
    })())
    await b.clock.advance(10_000)
    const lastBeatMs = startMs + 2000
    expect(b.devices.relay.said('OUTP:HOLD').map(ms => ms - startMs)).toEqual([500, 1000, 1500, 2000])
    expect(b.devices.relay.said('OUTP:OPEN')[0]).toBe(lastBeatMs + 300)
    expect(b.devices.psu.said('OUTP OFF')[0]).toBe(lastBeatMs + 300)
    expect(b.devices.board.said('ROUT:REL')[0]).toBeGreaterThanOrEqual(lastBeatMs + 360)
    expect(b.devices.board.said('ROUT:REL')[0]).toBeLessThan(lastBeatMs + 300 + 700)
    expect(b.keeper.mode()).toBe('safe')
    const report = b.events.flatMap(event => event.type === 'safe-off' ? event.report : [])
    expect(report).toHaveLength(1)
    expect(report[0]!.links.map(({ link, sent, verified }) => [link, sent, verified]))
      .toEqual([['relay', true, true], ['psu', true, true], ['board', true, null]])
    expect(report[0]!.verifiedMs).not.toBeNull()
    expect(b.logged.map(entry => entry[0])).toContain('safe-off')
  })

  it('stays armed for as long as fresh beats come', async () => {
    const b = bench()
    await b.clock.run((async () => {
      await armed(b)
      for (let i = 0; i < 1000; i++) { await sleep(b.clock, 299); b.keeper.beat(true) }
    })())
    expect(b.keeper.mode()).toBe('armed')
    expect(b.devices.relay.said('OUTP:OPEN')).toEqual([])
  })

  it('sends off commands at once while a query hangs, and cuts that query short', async () => {
    const b = bench()
    b.devices.psu.mute.add('SLOW?')
    await b.clock.run(armed(b))
    const hung = b.keeper.port('psu').query('SLOW?', { deadlineMs: 60_000 })
    const behind = b.keeper.port('psu').write('VOLT 450')
    hung.catch(() => {}); behind.catch(() => {})
    const atMs = b.clock.monotonicMs()
    const report = await b.clock.run(b.keeper.safeOff('a test'))
    await expect(hung).rejects.toMatchObject({ code: 'ABANDONED' })
    await expect(behind).rejects.toMatchObject({ code: 'ABANDONED' })
    expect(b.devices.psu.said('OUTP OFF')[0]).toBe(atMs)
    expect(b.devices.psu.said('VOLT 450')).toEqual([])
    expect(report.links.find(link => link.link === 'psu')!.verified).toBe(true)
  })

  it('refuses energising writes after a stop until it is acknowledged; queries pass', async () => {
    const b = bench()
    await b.clock.run(armed(b))
    await b.clock.run(b.keeper.safeOff('a test'))
    await expect(b.keeper.port('psu').write('OUTP ON')).rejects.toMatchObject({ code: 'TRIPPED' })
    expect(await b.clock.run(b.keeper.port('psu').query('MEAS:VOLT?'))).toBe('1.5')
    await b.clock.run(b.keeper.port('psu').write('OUTP OFF'))
    await b.keeper.reset()
    await expect(b.keeper.port('psu').write('OUTP ON')).rejects.toMatchObject({ code: 'REFUSED' })
    await b.keeper.arm(table, 300)
    await b.clock.run(b.keeper.port('psu').write('OUTP ON'))
    expect(b.devices.psu.said('OUTP ON')).toHaveLength(1)
  })

  it('makes safe when an energy link is unplugged, and reaches it on a fresh link', async () => {
    const b = bench()
    await b.clock.run(armed(b))
    b.links['relay']!.unplug()
    expect(b.keeper.mode()).toBe('safing')
    await b.clock.advance(10_000)
    expect(b.keeper.mode()).toBe('safe')
    const report = b.events.find(event => event.type === 'safe-off')!.report
    expect(report.links[0]).toMatchObject({ link: 'relay', sent: true, freshLink: true, verified: true })
  })

  it('lets no reconnect hide a link that was lost while armed, though nobody said that it was', async () => {
    const b = bench({ notices: false })
    await b.clock.run(armed(b))
    b.links['psu']!.unplug()
    expect(b.keeper.mode()).toBe('armed')
    await expect(b.keeper.port('psu').write('VOLT 5')).rejects.toMatchObject({ code: 'TRIPPED' })
    expect(b.keeper.mode()).toBe('safing')
    await b.clock.advance(10_000)
    const report = b.events.find(event => event.type === 'safe-off')!.report
    expect(report.reason).toBe('the link to psu is lost')
    expect(report.links.find(({ link }) => link === 'psu')).toMatchObject({ freshLink: true, verified: true })
    await expect(b.keeper.port('psu').write('OUTP ON')).rejects.toMatchObject({ code: 'TRIPPED' })
  })

  it('opens a link that went down while it was idle at the next exchange', async () => {
    const b = bench()
    await b.clock.run(b.keeper.port('psu').query('MEAS:VOLT?'))
    b.links['psu']!.unplug()
    expect(await b.clock.run(b.keeper.port('psu').query('MEAS:VOLT?'))).toBe('1.5')
    expect(b.keeper.mode()).toBe('idle')
  })

  it('sends nothing that energises while it is not armed, and set-up all the same', async () => {
    const b = bench()
    await expect(b.keeper.port('psu').write('VOLT 0')).rejects.toMatchObject({ code: 'REFUSED' })
    await b.clock.run(armed(b))
    await b.keeper.disarm()
    const live = [['psu', 'OUTP ON'], ['relay', 'OUTP:CLOS'], ['board', 'ROUT:CLOS (@1,101)']] as const
    for (const [link, line] of live) {
      await expect(b.keeper.port(link).write(line)).rejects.toMatchObject({ code: 'REFUSED' })
      expect(b.devices[link].said(line)).toEqual([])
    }
    const quiet = [['psu', 'VOLT 0'], ['psu', 'OUTP OFF'], ['board', 'ROUT:CLOS (@101)']] as const
    for (const [link, line] of quiet) {
      await b.clock.run(b.keeper.port(link).write(line))
      expect(b.devices[link].said(line)).toHaveLength(1)
    }
  })

  it('tries every link when one cannot be reached, ends in bounded time, and says which', async () => {
    const b = bench()
    await b.clock.run(armed(b))
    b.links['relay']!.refuse = true
    b.links['relay']!.unplug()
    const startMs = b.clock.monotonicMs()
    await b.clock.run(b.keeper.safeOff('again'))
    expect(b.clock.monotonicMs() - startMs).toBeLessThan(10_000)
    const report = b.events.find(event => event.type === 'safe-off')!.report
    expect(report.links.map(link => [link.link, link.sent, link.verified]))
      .toEqual([['relay', false, false], ['psu', true, true], ['board', true, null]])
    expect(report.verifiedMs).toBeNull()
  })

  it('reports a supply that says it is still on as not verified', async () => {
    const b = bench()
    await b.clock.run(armed(b))
    b.devices.psu.answers['OUTP?'] = '1'
    const report = await b.clock.run(b.keeper.safeOff('a test'))
    expect(report.links[1]).toMatchObject({ link: 'psu', sent: true, verified: false })
    expect(report.links[1]!.note).toContain('got 1')
  })

  it('survives a listener that throws', async () => {
    const b = bench()
    b.keeper.onEvent(() => { throw new Error('a listener') })
    await b.clock.run(armed(b))
    await b.clock.run(b.keeper.safeOff('a test'))
    expect(b.keeper.mode()).toBe('safe')
  })

  it('refuses to arm with a table that names a link it does not own', async () => {
    const b = bench()
    const strange = {
      phases: [{ gapMs: 0, steps: [{ link: 'x', step: { commands: ['A'] } }] }], refreshes: [], energising: []
    }
    await expect(b.keeper.arm(strange, 300)).rejects.toMatchObject({ code: 'REFUSED' })
  })

  it('refuses to arm while a link of the table is not open', async () => {
    const b = bench()
    await b.clock.run(b.keeper.port('relay').query('OUTP:STAT?'))
    await expect(b.keeper.arm(table, 300)).rejects.toMatchObject({ code: 'REFUSED' })
    expect(b.keeper.mode()).toBe('idle')
  })

  it('refuses a command of two lines, which could hide one behind another', async () => {
    const b = bench()
    await expect(b.keeper.port('psu').write('OUTP OFF\nOUTP ON')).rejects.toMatchObject({ code: 'USAGE' })
  })
})

describe('reading back', () => {
  it('compares numbers within the tolerance, text exactly, and every number of a list', () => {
    for (const [answer, safe, tolerance] of [
      ['0', [0], 0], ['+0.00E+00', [0], 0], ['OFF', ['OFF'], 0], ['0.3', [0], 0.5], ['0,0, 0', [0], 0], ['0.00 V', [0], 0],
    ] as const) expect(readsSafe(answer, { query: 'Q?', safe, tolerance }), answer).toBe(true)
    for (const [answer, safe, tolerance] of [
      ['1', [0], 0], ['', [0], 0], [
        'OFFLINE', ['OFF'], 0
      ], ['0.6', [0], 0.5], ['0,1,0', [0], 0], ['NAN', [0], 1],
      ['9.91E37', [0], 1], ['0,', [0], 0], ['0x0', [0], 0], ['-9.9E37', [0], 1],
    ] as const) expect(readsSafe(answer, { query: 'Q?', safe, tolerance }), answer).toBe(false)
  })
})
