/** Lines on the keeper's channel: what is not understood makes the bench safe, and nothing energises unarmed. */
import { PassThrough } from 'node:stream'
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { VirtualClock } from '../../src/base/clock.ts'
import { LineSplitter, openChannel } from '../../src/keeper/channel.ts'
import { KeeperHost, type KeeperSession } from '../../src/keeper/host.ts'
import { KeeperProcess } from '../../src/keeper/keeper-process.ts'
import { beatLimitMostMs } from '../../src/keeper/protocol.ts'
import { energisingPart } from '../../src/keeper/table.ts'
import { table } from '../keeper/sample.ts'
import { holds } from './holds.ts'
import { alteredJson, anyJson, nasty, wireBytes } from './texts.ts'

/** A keeper on instruments that only remember; `wrong` counts what should not have been sent. */
function keeperOn(clock: VirtualClock) {
  const wrong: string[] = []
  let host: KeeperHost | null = null
  const take = (link: string, line: string): void => {
    if (host!.mode !== 'armed' && energisingPart(table, link, line) !== null) wrong.push(`${link}: ${line} while ${host!.mode}`)
  }
  const session = (link: string): KeeperSession => ({
    state: 'ready', connect: async () => {}, close: async () => {},
    query: async line => { take(link, line); return '0' }, write: async line => { take(link, line) },
    safeOff: async lines => { for (const line of lines) take(link, line); return { sentAtMs: clock.monotonicMs(), freshLink: false, error: null } },
  })
  host = new KeeperHost({
    sessions: new Map(['psu', 'relay', 'board'].map(link => [link, session(link)])), livenessClock: clock, benchClock: clock, log: () => {},
  })
  return { host, wrong }
}

const command = fc.oneof(
  fc.constantFrom('OUTP ON', 'OUTP OFF', 'outp on', ' OUTP  1', ':OUTP ON', 'OUTP OFF;OUTP ON', 'OUTP?;OUTP ON', 'OUTP ON;OUTP?', 'VOLT 450', 'OUTP:CLOS', 'OUTP:HOLD',
    'ROUT:CLOS (@1)', 'ROUT:CLOS (@101)', 'ROUT:CLOS (@101);:OUTP ON', '*IDN?', 'MEAS:VOLT?', '*RST', '"?";OUTP ON', 'X?\tOUTP ON'),
  nasty(30),
)
const link = fc.constantFrom('psu', 'relay', 'board', 'nobody', '__proto__')
const order = fc.oneof(
  fc.record({ do: fc.constantFrom('configure'), id: fc.nat(9), table: fc.constant(table), firstSafeOff: fc.boolean() }),
  fc.record({ do: fc.constantFrom('arm'), id: fc.nat(9), table: fc.constant(table), beatLimitMs: fc.integer({ min: 1, max: 2000 }) }),
  fc.record({ do: fc.constantFrom('disarm', 'reset'), id: fc.nat(9) }),
  fc.record({ do: fc.constant('safe-off'), id: fc.nat(9), reason: nasty(10) }),
)
const frame = fc.oneof(
  fc.tuple(fc.constant('q'), fc.nat(9), link, command, fc.constantFrom(0, 100)), fc.tuple(fc.constant('w'), fc.nat(9), link, command, fc.constantFrom(0, 100), fc.constantFrom(-1, 0, 1)),
  fc.tuple(fc.constant('b'), fc.constantFrom(0, 1)),
)
const message = fc.oneof({ arbitrary: fc.oneof(order, frame), weight: 5 }, { arbitrary: alteredJson(fc.oneof<fc.Arbitrary<unknown>[]>(order, frame)), weight: 1 }, { arbitrary: anyJson, weight: 1 })

const startKeeper = KeeperProcess as unknown as new (
  host: KeeperHost, send: (reply: unknown) => void, leave: (code: number) => void
) => KeeperProcess

describe('the keeper\'s channel', () => {
  it('energises nothing while it is not armed, whatever comes', async () => {
    const inputs = fc.record({ configured: fc.boolean(), steps: fc.array(fc.tuple(message, fc.constantFrom(0, 0, 0, 50, 1500)), { maxLength: 10 }) })
    await holds('keeper messages', inputs, async ({ configured, steps }) => {
      const clock = new VirtualClock()
      const { host, wrong } = keeperOn(clock)
      const keeper = new startKeeper(host, () => {}, () => {})
      if (configured) keeper.onMessage({ do: 'configure', id: 0, table, firstSafeOff: false })
      for (const [given, waitMs] of steps) {
        keeper.onMessage(JSON.parse(JSON.stringify(given)) as unknown)
        await clock.advance(waitMs)
      }
      await clock.advance(beatLimitMostMs)
      expect(wrong).toEqual([])
      // Nobody beats any more: whatever was armed is safe by now.
      expect(host.mode).not.toBe('armed')
    })
  })

  it('cuts bytes into the same lines however they come, and gives up a line without end', async () => {
    const inputs = fc.record({ bytes: wireBytes, cuts: fc.array(fc.nat(200), { maxLength: 6 }) })
    await holds('keeper lines', inputs, ({ bytes, cuts }) => {
      const linesOf = (chunks: readonly Buffer[]): string[] => {
        const lines: string[] = []
        const splitter = new LineSplitter(64, line => lines.push(line))
        const whole = chunks.every(chunk => splitter.push(chunk))
        return [...lines, whole ? 'heard' : 'given up']
      }
      const at = [...new Set([0, ...cuts.map(cut => cut % (bytes.length + 1)), bytes.length])].sort((a, b) => a - b)
      expect(linesOf(at.slice(1).map((end, i) => bytes.subarray(at[i], end)))).toEqual(linesOf([bytes]))
    })
  })

  it('tells of bytes that are no lines once, and hears nothing after them', async () => {
    await holds('keeper bytes', wireBytes.filter(bytes => bytes.length > 0), async bytes => {
      const pipe = new PassThrough()
      const heard: string[] = []
      openChannel(pipe, {
        message: given => { heard.push(typeof given) }, malformed: () => { heard.push('malformed') }, gone: () => {},
      })
      pipe.end(Buffer.concat([bytes, Buffer.from('\n{"do":"safe-off"}\n')]))
      await new Promise(resolve => { pipe.once('close', resolve) })
      const at = heard.indexOf('malformed')
      if (at >= 0) expect(at).toBe(heard.length - 1)
    })
  })
})
