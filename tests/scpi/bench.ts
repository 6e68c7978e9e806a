/** A session on a made-up instrument in virtual time. */
import { VirtualClock } from '../../src/base/clock.ts'
import type { BenchError } from '../../src/base/errors.ts'
import { memoryLink } from '../../src/transport/memory.ts'
import type { SessionNotice, SessionOptions } from '../../src/scpi/session.ts'
import { Session } from '../../src/scpi/session.ts'
import { TestDevice } from './device.ts'

export function bench(options: Partial<SessionOptions> = {}, latencyMs = 1) {
  const clock = new VirtualClock()
  const device = new TestDevice()
  const link = memoryLink(clock, device, { latencyMs })
  const notices: SessionNotice[] = []
  const session = new Session(link.open, {
    name: 'psu', clock, deadlineMs: 500, frameBytesMax: 4096, identity: { query: '*IDN?' },
    errorQueue: { query: 'SYST:ERR?', none: 'code-zero', max: 64 }, onNotice: n => notices.push(n), ...options,
  })
  const run = <T>(work: Promise<T>): Promise<T> => clock.run(work)
  const connected = async (): Promise<void> => { await run(session.connect()); device.received = [] }
  const failure = (work: Promise<unknown>): Promise<BenchError> =>
    run(work.then(() => { throw new Error('it did not fail') }, (e: BenchError) => e))
  return { clock, device, link, notices, session, run, connected, failure }
}
