/** `watch` and `start --watch` against a daemon that is not there: what is told, once, and what the end gives. */
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { formatClock } from '../../src/base/format.ts'
import { runningStatus, type FakeApplication } from '../api/fake-application.ts'
import { startWallMs } from '../report/sample-night.ts'
import { openCli, type Cli } from './fake-cli.ts'

let cli: Cli
let app: FakeApplication
const run: Cli['run'] = async (...argv) => await cli.run(...argv)
const rack = (): string => cli.rack()

beforeEach(async () => {
  cli = await openCli()
  ;({ app } = cli)
})
afterEach(async () => await cli.close())

describe('watching', () => {
  const watchUntil = async (state: 'done' | 'tripped' | 'stopped' | 'interrupted', ...argv: string[]) => {
    const watching = run('start', 'reform', '--cautions-read', '--watch', ...argv)
    app.shownStatus = runningStatus('R2')
    while (app.listeners.size === 0) await new Promise(setImmediate)
    app.emit({ type: 'event', runId: 'R2', event: {
      kind: 'step', severity: 'info', atMs: 1, wallMs: 0, text: 'raised to 50 V'
    } })
    app.emit({ type: 'event', runId: 'R7', event: {
      kind: 'step', severity: 'info', atMs: 1, wallMs: 0, text: 'of another'
    } })
    await app.finish('R2', state)
    return await watching
  }

  it.each([['done', 0], ['tripped', 3], ['stopped', 3], ['interrupted', 4]] as const)(
    'follows a run until it is %s and ends with %i', async (state, exit) => {
      const seen = await watchUntil(state)
      expect(seen.exit).toBe(exit)
      expect(seen.out).toContain(`${formatClock(0)}  raised to 50 V`)
      expect(seen.out).not.toContain('of another')
      expect(seen.out).not.toContain('\u001b')
    })

  it('says in a pipe too that a run ends, and why, and no time to go any more', async () => {
    const watching = run('start', 'reform', '--cautions-read', '--watch')
    app.shownStatus = runningStatus('R2')
    while (app.listeners.size === 0) await new Promise(setImmediate)
    const ending = { as: 'tripped' as const, why: 'the cover is open', wallMs: startWallMs }
    app.emit({ type: 'status', status: { ...app.shownStatus, energy: 'bleeding', run: {
      ...app.shownStatus.run!, remainingS: null, ending,
    } } })
    await app.finish('R2', 'tripped')
    const told = (await watching).out.split('\n').filter(line => line.includes('forming: bus'))
    expect(told).toHaveLength(2)
    expect(told[0]).toMatch(/about 5 h 33 min to go/)
    expect(told[1]).toMatch(/TRIPPED at .*: the cover is open\. What was on the bus is being bled/)
  })

  it('tells a verdict once, and that it is provisional', async () => {
    const watching = run('start', 'reform', '--cautions-read', '--watch')
    app.shownStatus = runningStatus('R2')
    while (app.listeners.size === 0) await new Promise(setImmediate)
    app.emit({ type: 'event', runId: 'R2', event: {
      kind: 'grade', severity: 'info', atMs: 1, wallMs: 0, position: 'P01', text: 'P01 C1: accept (provisional), use: sound',
    } })
    app.emit({ type: 'result', runId: 'R2', result: {
      position: 'P01', part: 'C1', profile: 'p', grade: 'accept', provisional: true, disposition: 'use', pConform: 1,
      reason: 'sound', criteria: [], figures: {},
    } })
    await app.finish('R2', 'done')
    const told = (await watching).out.split('\n').filter(line => line.includes('accept'))
    expect(told).toEqual(['P01  C1: accept (provisional), use. sound'])
  })

  it('ends with 1 when a part that was loaded is not accepted', async () => {
    expect((await watchUntil('done', '--parts', rack())).exit).toBe(1)
  })

  it('gives one object a line with --json, the last one the end', async () => {
    const { out } = await watchUntil('done', '--json')
    const items = out.trimEnd().split('\n').map(line => JSON.parse(line) as { type: string })
    expect(items[0]!.type).toBe('status')
    expect(items.map(item => item.type).filter(type => type !== 'status')).toEqual(['event', 'end'])
  })

  it('ends at once for a run that has ended, and refuses one that is not there', async () => {
    expect((await run('watch', 'R1')).exit).toBe(0)
    expect((await run('watch', 'R9')).exit).toBe(2)
  })
})
