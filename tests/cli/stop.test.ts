/** Who is asked to stop a bench, and what is told of it: never one bench for another. */
import { createServer } from 'node:http'
import type { AddressInfo } from 'node:net'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import type { Api } from '../../src/api/build.ts'
import { readDaemonNote, removeDaemonNote, writeDaemonNote } from '../../src/base/daemon-file.ts'
import { BenchError } from '../../src/base/errors.ts'
import { formatWall } from '../../src/base/format.ts'
import { idleStatus, type FakeApplication } from '../api/fake-application.ts'
import { keeperReport, openCli, type Cli } from './fake-cli.ts'

let cli: Cli
let app: FakeApplication
let api: Api
let folder: string
let context: Cli['context']
const run: Cli['run'] = async (...argv) => await cli.run(...argv)

beforeEach(async () => {
  cli = await openCli()
  ;({ app, api, folder, context } = cli)
})
afterEach(async () => await cli.close())

describe('stopping', () => {
  it('asks the daemon, and not the keeper when the daemon did it', async () => {
    const { exit, out } = await run('stop', 'smells', 'hot')
    expect(exit).toBe(0)
    expect(out).toContain('Off commands sent by the daemon in 12 ms, read back after 80 ms.')
    expect(app.calls).toEqual([{ name: 'stop', argument: 'smells hot' }])
    expect(context.keeper).toEqual([])
  })

  it('asks the keeper when there is no daemon', async () => {
    removeDaemonNote(folder)
    const { exit, out } = await run('stop', 'smoke')
    expect(exit).toBe(0)
    expect(out).toContain('by its keeper')
    expect(context.keeper).toEqual(['smoke'])
  })

  it('asks the keeper when the daemon is gone, fails, or is somebody else', async () => {
    app.stop = async () => { throw new Error('stuck') }
    expect((await run('stop')).exit).toBe(0)
    await api.close()
    expect((await run('stop')).exit).toBe(0)
    expect((await run('stop', '--data', folder)).exit).toBe(0)
    expect(context.keeper).toEqual(['ida asked for it', 'ida asked for it', 'ida asked for it'])
  })

  it.each([
    ['on the line', ['--daemon', 'http://127.0.0.1:1'], {}], ['by what is no address', ['--daemon', 'no address'], {}],
    ['with a data folder beside it', ['--daemon', 'http://127.0.0.1:1', '--data', 'bench-a'], {}],
    ['in the environment', [], { NIGHTBENCH_DAEMON: 'http://127.0.0.1:1' }],
  ])('asks a daemon that is named %s alone: no keeper here speaks for another bench', async (_, words, env) => {
    Object.assign(context.env, env)
    context.lastEndOf = async () => ({ wallMs: 5000, safeOff: keeperReport })
    context.keeperFails = new BenchError('KEEPER_GONE', 'no keeper listens')
    const { exit, out, err } = await run('stop', ...words)
    expect([exit, out, context.keeper]).toEqual([4, '', []])
    expect(err).toMatch(/NOTHING IS KNOWN of the bench there.*may be energised\nOpen the cutoff.*by hand\. On the computer of the bench/)
    expect(JSON.parse((await run('stop', '--json', ...words)).out)).toMatchObject({ error: { code: 'ENERGY_UNKNOWN' } })
    expect(app.calls).toEqual([])
  })

  it('takes the data folder on the line before the address in the environment', async () => {
    Object.assign(context.env, { NIGHTBENCH_DAEMON: 'http://127.0.0.1:1' })
    expect((await run('stop', '--data', folder)).out).toContain('by the daemon in 12 ms')
    expect((await run('status', '--data', folder)).exit).toBe(0)
    expect((await run('status')).exit).toBe(4)
  })

  it('goes by no note of a daemon that is gone to another that listens there since', async () => {
    writeDaemonNote(folder, { ...readDaemonNote(folder)!, pid: 4711, id: 'one-that-was-killed' })
    const gone = /the daemon that was noted, process 4711, is gone: another program answers at http/
    for (const words of [['status'], ['runs'], ['ack', 'mended'], ['watch']]) {
      expect(await run(...words)).toMatchObject({ exit: 4, out: '', err: expect.stringMatching(gone) as string })
    }
    const stopped = await run('stop', 'smoke')
    expect(stopped).toMatchObject({ exit: 0, out: expect.stringContaining('by its keeper') as string, err: expect.stringMatching(gone) as string })
    expect([context.keeper, app.calls]).toEqual([['smoke'], []])
    expect((await run('instruments')).err).toContain('The daemon does not answer')
  })

  it('goes by no note to a program that does not say who it is', async () => {
    await api.close()
    const other = createServer((_, answer) => answer.end(JSON.stringify(idleStatus)))
    await new Promise<void>(resolve => other.listen(0, '127.0.0.1', () => resolve()))
    writeDaemonNote(folder, { url: `http://127.0.0.1:${(other.address() as AddressInfo).port}`, pid: 1, id: 'd' })
    expect((await run('status')).exit).toBe(4)
    expect((await run('stop')).out).toContain('by its keeper')
    other.close()
  })

  it('takes no answer of another program for a stop', async () => {
    app.stop = async () => ({ ok: true }) as never
    expect((await run('stop', '--daemon', readDaemonNote(folder)!.url)).err).toMatch(/no daemon of this program.*NOTHING IS KNOWN/)
  })

  it('stops whatever else is on the line, and says so where no off command could be sent', async () => {
    const { exit, out } = await run('stop', '--bogus', 'now')
    expect([exit, out.includes('Off commands sent')]).toEqual([0, true])
    removeDaemonNote(folder)
    const silent = keeperReport.links.map(link => ({ ...link, sent: false, verified: false }))
    context.stopByKeeper = async () => ({ ...keeperReport, verifiedMs: null, links: silent })
    const none = await run('stop')
    expect(none.exit).toBe(4)
    expect(none.out).toMatch(/NO off command could be sent.*IT IS NOT KNOWN TO BE OFF/s)
    expect(none.out).not.toContain('Off commands sent')
  })

  it('says what to do by hand when neither did it', async () => {
    removeDaemonNote(folder)
    context.keeperFails = new BenchError('KEEPER_GONE', 'no keeper listens')
    const { exit, err } = await run('stop')
    expect(exit).toBe(4)
    expect(err).toContain('switch the supply off by hand')
  })

  it.each([[40, 0], [null, 4]])(
    'tells how its keeper ended where nobody is there to stop it: read back after %j ms ends with %i', async (verifiedMs, exit) => {
      removeDaemonNote(folder)
      context.keeperFails = new BenchError('KEEPER_GONE', 'no keeper listens')
      const safeOff = { ...keeperReport, reason: 'the daemon is gone', verifiedMs }
      context.lastEndOf = async data => data === folder ? { wallMs: 5000, safeOff } : null
      const plain = await run('stop')
      expect(plain.exit).toBe(exit)
      expect(plain.out).toContain(`ended by itself after it had ${exit === 0 ? 'made' : 'tried to make'} its bench safe `
        + `at ${formatWall(0)}: the daemon is gone.`)
      expect(plain.out).toMatch(/prove dead before touching\.\nA daemon that is started anew first makes the bench safe/)
      expect(plain.out.includes('switch the supply off by hand')).toBe(exit === 4)
      expect(JSON.parse((await run('stop', '--json')).out)).toMatchObject({ endedWallMs: 5000, verifiedMs })
    })

  it('believes no old word of a keeper that is there and does not answer', async () => {
    removeDaemonNote(folder)
    context.keeperFails = new BenchError('LINK_TIMEOUT', 'the keeper did not answer')
    context.lastEndOf = async () => ({ wallMs: 5000, safeOff: keeperReport })
    expect((await run('stop')).exit).toBe(4)
  })

  it('ends with 4 when a link did not take the off command', async () => {
    const stop = app.stop.bind(app)
    app.stop = async reason => {
      const report = await stop(reason)
      return { ...report, links: [{ ...report.links[0]!, sent: false }] }
    }
    expect((await run('stop')).exit).toBe(4)
  })
})
