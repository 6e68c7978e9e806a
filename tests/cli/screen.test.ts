/** `screen` over an application in memory: what is asked of the daemon, what is shown, and how it ends. */
import { writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { PassThrough } from 'node:stream'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { BenchError } from '../../src/base/errors.ts'
import { packageFile } from '../../src/base/paths.ts'
import { canRead, linesOf } from '../../src/cli/context.ts'
import { exitOfRun } from '../../src/cli/exit.ts'
import { runCli } from '../../src/cli/run-cli.ts'
import type { PartResult, RunRecord } from '../../src/schema/run.ts'
import type { ScreenRequest, ScreenStatus } from '../../src/schema/screening.ts'
import { askingR1, idleStatus, shownScreenPlan } from '../api/fake-application.ts'
import { openCli, type Cli } from './fake-cli.ts'

let cli: Cli
beforeEach(async () => { cli = await openCli() })
afterEach(async () => { await cli.close() })

const list = (text = 'ref,value,tolerance\nR1-R2,4k7,5\n', name = 'my list.csv'): string => {
  const path = join(cli.folder, name)
  writeFileSync(path, text)
  return path
}
const requests = (): ScreenRequest[] =>
  cli.app.calls.filter(({ name }) => name.startsWith('screening.')).map(({ argument }) => argument as ScreenRequest)
const result = (position: string, grade: PartResult['grade']): PartResult => ({
  position, part: `my-list-${position}`, profile: 'parts list', grade, provisional: false, disposition: 'use', pConform: 1, reason: 'sound',
  criteria: [], figures: {},
})
const turns = async (count = 20): Promise<void> => { for (let i = 0; i < count; i++) await new Promise(setImmediate) }
const until = async (holds: () => boolean): Promise<void> => { while (!holds()) await turns(1) }
const tell = async (tone: 'ask' | 'good' | 'bad', text: string, over: Partial<ScreenStatus> = {}): Promise<void> => {
  cli.app.screening.shown = { ...askingR1, told: { tone, text, about: over.asked ?? 'R1' }, ...over }
  cli.app.emit({ type: 'screening', screening: cli.app.screening.shown })
  await turns()
}
const end = async (state: 'done' | 'stopped' | 'tripped'): Promise<void> => {
  cli.app.screening.shown = null
  cli.app.emit({ type: 'screening', screening: null })
  await cli.app.finish('S1', state)
}

describe('screen --plan', () => {
  it('shows groups, time, the most at the jig, and what cannot be proven and why', async () => {
    const { exit, out } = await cli.run('screen', list(), '--plan')
    expect(exit).toBe(1)
    expect(out).toContain('2 parts in 1 group, about 10 s with two hands; never more than 4.00 V and 1.00 mA at the jig')
    expect(out).toMatch(/^1 +two leads +ohms, 2 wires +4.00 V +1.00 mA +10 s +R1, R2$/m)
    expect(out).toContain('V1: there is no method for a tube; prove it by hand and note it')
    expect(out).toContain('Not asked for again: R3 (there is a result)')
    expect(requests()).toMatchObject([{ unit: 'my-list', person: 'ida', ask: 'open', parts: [{ designators: ['R1', 'R2'] }] }])
  })
  it('asks for what a policy wants proven, new parts with the class they must have, and says what is left', async () => {
    const pavilion = packageFile('profiles', 'lists', 'saltmarsh-pavilion.csv')
    const { out } = await cli.run('screen', pavilion, '--policy', packageFile('profiles', 'policies', 'saltmarsh-pavilion.yaml'), '--plan')
    const [request] = requests()
    const of = (name: string) => request!.parts.find(({ designators }) => designators.includes(name))
    expect(of('C101')).toMatchObject({ designators: ['C101'], quantity: 1, dielectrics: ['class-x'] })
    expect(of('R17')).toMatchObject({ designators: ['R17'] })
    const names = request!.parts.flatMap(({ designators }) => designators)
    expect(new Set(names).size).toBe(names.length)
    expect(out).toContain('parts in 1 group')
  })
  it('takes standards, the unit and which parts are asked for', async () => {
    await cli.run('screen', list(), '--plan', '--unit', 'pavilion', '--person', 'Bo', '--ask', 'not-accepted', '--standards-every', '20',
      '--standard', 'id=S1,value=1000,u=0.05,quantity=resistance', '--standard', 'quantity=capacitance,id=S2,u=1e-10,value=1e-7')
    expect(requests()).toMatchObject([{ unit: 'pavilion', person: 'Bo', ask: 'not accepted', standardsEvery: 20, standards: [
      { id: 'S1', quantity: 'resistance', value: 1000, u: 0.05 }, { id: 'S2', quantity: 'capacitance', value: 1e-7, u: 1e-10 },
    ] }])
  })
  it('says what the jig adds: not compensated, compensated when and by which run, or found first', async () => {
    const bare = await cli.run('screen', list(), '--plan')
    expect(bare.out).toContain('The jig is not compensated: leads count as 500 mΩ on two wires, '
      + 'on the bridge as 50 mΩ and 200 nH in series, 2 pF beside; add --compensate')
    cli.app.screening.planned = { ...shownScreenPlan, compensated: { run: '20260105-200000-screen', wallMs: Date.UTC(2026, 0, 5, 20) }, zeros: ['empty jig'] }
    expect((await cli.run('screen', list(), '--plan')).out).toMatch(/^The jig was compensated at 2026-01-05 .* by run 20260105-200000-screen; first it is seen whether the empty jig still reads the same$/m)
    cli.app.screening.planned = { ...shownScreenPlan, zeros: ['empty jig', 'shorting wire'] }
    expect((await cli.run('screen', list(), '--plan', '--compensate')).out).toContain('Asked for first, to compensate the jig: empty jig, shorting wire')
    expect(bare.out).not.toContain('Beside the parts')
    cli.app.screening.planned = { ...shownScreenPlan, asideS: 28.4, expectedS: 38.4 }
    expect((await cli.run('screen', list(), '--plan', '--compensate')).out).toContain('Beside the parts, to compensate the jig and for check standards: about 28 s')
    expect(requests().map(({ compensate }) => compensate)).toEqual([false, false, true, true])
  })
  it('shows what the list itself states of transistors', async () => {
    const text = 'ref,kind,value,note\nQ1-Q3,npn,x,hFE 110-220 @ 2 mA\nQ4,n-channel jfet,x,"IDSS 2-6 mA, VP 1-4 V"\nR1,resistor,4k7 5 %,\n'
    const { out } = await cli.run('screen', list(text), '--plan')
    expect(out).toContain('Stated by the list:\n  Q1-Q3: gain 110 to 220 at 2.00 mA\n  Q4: drain current 2.00 mA to 6.00 mA\n  Q4: cut-off voltage 1.00 V to 4.00 V\n')
    expect(requests()[0]!.parts[0]!.limits).toEqual([{ of: 'gain', low: 110, high: 220, currentA: 2e-3 }])
    expect((await cli.run('screen', list(), '--plan')).out).not.toContain('Stated by the list')
  })
  it('asks for what is wanted of capacitors', async () => {
    await cli.run('screen', list(), '--plan', '--no-insulation', '--absorption', '--mains', '120,60')
    expect(requests()).toMatchObject([{ insulation: false, absorption: true, mains: { voltageV: 120, frequencyHz: 60 } }])
  })
  it.each([
    ['--mains', '240'], ['--mains', '240,x'], ['--mains', ''],
    ['--standard', 'id=S1,value=,u=1,quantity=resistance'], ['--standard', 'S1'], ['--standard', 'id=S1,value=1k,u=1,quantity=resistance'],
    ['--ask', 'some'], ['--standards-every', 'x'],
  ])('refuses %s %s', async (flag, value) => {
    expect((await cli.run('screen', list(), '--plan', flag, value)).exit).toBe(2)
    expect(requests()).toEqual([])
  })
  it('guesses nothing where a line cannot be read', async () => {
    const { exit, err } = await cli.run('screen', list('ref,value\nR1,470\nR2,4k7\n'))
    expect(exit).toBe(2)
    expect(err).toContain('470R or 47R')
    expect(requests()).toEqual([])
  })
})

describe('screen', () => {
  it.each([['accept', 'done', 0], ['reject', 'done', 1], ['accept', 'stopped', 3], ['accept', 'tripped', 3]] as const)(
    'with the last part %s and %s ends with %i', async (grade, state, exit) => {
      const watching = cli.run('screen', list())
      await until(() => cli.app.listeners.size > 0)
      for (const part of [result('R1', 'accept'), result('R2', grade), result('V1', 'accept')]) await cli.app.store.saveResult('S1', part)
      await end(state)
      expect((await watching).exit).toBe(exit)
    })
  it('gives plain lines in a pipe: leads, what is asked, outcomes', async () => {
    const watching = cli.run('screen', list())
    await until(() => cli.app.listeners.size > 0)
    await tell('ask', 'R1')
    await tell('bad', 'R1: resistance 10 kΩ, bad', { stands: 'leaving' })
    await tell('ask', 'RV2', { asked: 'RV2' })
    await tell('ask', 'turn the shaft to a stop', { asked: 'RV2', stands: 'measuring' })
    await tell('ask', 'standard S1', { asked: 'S1' })
    await end('done')
    const { out } = await watching
    expect(out.split('\n').slice(0, 8)).toEqual([
      'Run S1: at most 4.00 V and 1.00 mA at the jig.',
      'What you type here is not read, as the output is no terminal: nightbench watch in another terminal takes it.', 'Leads: two leads', 'Put in R1', 'R1: resistance 10 kΩ, bad', 'Put in RV2',
      'RV2: turn the shaft to a stop', 'Put in standard S1',
    ])
    // No cursor is moved and no bell rung.
    expect([...out].filter(char => char < ' ' && char !== '\n')).toEqual([])
  })
  it('on a terminal shows one status line, rings for what is bad, and does what is typed', async () => {
    let type: (text: string) => void = () => {}
    let closed = 0
    let out = ''
    const watching = runCli(['screen', list()], {
      ...cli.context, out: { write: (text: string) => { out += text }, isTTY: true, columns: 100, rows: 30 },
      readLines: onLine => { type = onLine; return () => { closed++ } },
    })
    await until(() => cli.app.listeners.size > 0)
    await tell('good', 'R1: resistance 4.7 kΩ, good', { stands: 'leaving', counts: { accept: 1, marginal: 0, reject: 0, 'cannot tell': 0 }, left: 1 })
    expect(out).toContain('R1: take it out | 1 accept through, 1 left')
    expect(out).not.toContain('\u0007')
    await tell('bad', 'R2: resistance 10 kΩ, bad')
    expect(out).toContain('\u0007')
    type(' Second  opinion ')
    type('dance')
    await until(() => out.includes('none of'))
    cli.app.screening.fails = new BenchError('REFUSED', 'nothing is in doubt')
    type('keep')
    await until(() => out.includes('nothing is in doubt'))
    type('stop')
    await until(() => cli.app.calls.some(({ name }) => name === 'stop'))
    expect(cli.app.calls.filter(({ name }) => name !== 'screening.begin')).toEqual([
      { name: 'screening.do', argument: 'second opinion' }, { name: 'screening.do', argument: 'keep' }, { name: 'stop', argument: 'ida asked for it' },
    ])
    await end('stopped')
    expect(await watching).toBe(3)
    expect(closed).toBeGreaterThan(0)
  })
  it('does what is piped in, one word a line, and says of each that cannot be done why', async () => {
    const input = new PassThrough()
    let out = ''
    const watching = runCli(['screen', list()], {
      ...cli.context, out: { write: (text: string) => { out += text } }, readLines: onLine => linesOf(input, onLine),
    })
    await until(() => cli.app.listeners.size > 0)
    input.write('measure\nskip')
    await until(() => cli.app.calls.some(({ argument }) => argument === 'measure'))
    input.end(' it\nsecond opinion\n')
    await until(() => cli.app.calls.some(({ argument }) => argument === 'second opinion'))
    expect(out).toContain('This is none of: pause,')
    // Nobody types: no hint, and the session goes on behind the end of the pipe.
    expect(out).not.toMatch(/Type what you do|not read/)
    await tell('good', 'R1: resistance 4.7 kΩ, good')
    await end('done')
    await watching
    expect(cli.app.calls.filter(({ name }) => name === 'screening.do').map(({ argument }) => argument)).toEqual(['measure', 'second opinion'])
    expect(out).toContain('R1: resistance 4.7 kΩ, good')
  })
  it('reads words unless the input is a terminal and the output is none', () => {
    const [terminal, pipe] = [{ isTTY: true }, {}]
    expect([canRead(terminal, terminal), canRead(pipe, terminal), canRead(pipe, pipe), canRead(terminal, pipe)]).toEqual([true, true, true, false])
  })
  it('leaves the rest of a pipe unread once the session is at its end', async () => {
    const input = new PassThrough()
    const heard: string[] = []
    const stop = linesOf(input, text => heard.push(text))
    input.write('one\n')
    await until(() => heard.length > 0)
    stop()
    input.write('two\n')
    await new Promise(resolve => { setImmediate(resolve) })
    expect([heard, input.isPaused()]).toEqual([['one'], true])
  })
  it('is found again by `watch` after it was left: what is typed there is done', async () => {
    await cli.run('screen', list(), '--plan')
    void cli.run('screen', list())
    await until(() => cli.app.listeners.size > 0)
    await tell('ask', 'R1')
    cli.app.shownStatus = { ...idleStatus, screening: cli.app.screening.shown }
    let type: (text: string) => void = () => {}
    let out = ''
    const back = runCli(['watch'], {
      ...cli.context, out: { write: (text: string) => { out += text }, isTTY: true, columns: 100, rows: 30 },
      readLines: onLine => { type = onLine; return () => {} },
    })
    await until(() => cli.app.listeners.size > 1 && out.includes('Put in R1'))
    type('pause')
    await until(() => cli.app.calls.some(({ argument }) => argument === 'pause'))
    await end('done')
    expect(await back).toBe(exitOfRun((await cli.app.store.run('S1'))!, []))
  })
  it('gives one object a line with --json, the last one the end', async () => {
    const watching = cli.run('screen', list(), '--json')
    await until(() => cli.app.listeners.size > 0)
    await tell('ask', 'R1')
    await end('done')
    const items = (await watching).out.trimEnd().split('\n').map(line => JSON.parse(line) as { type: string })
    expect(items.map(({ type }) => type).filter(type => type !== 'status')).toEqual(['screening', 'end'])
  })
  it('says why a session cannot begin', async () => {
    cli.app.screening.fails = new BenchError('REFUSED', 'this bench has no jig')
    const { exit, err } = await cli.run('screen', list())
    expect(exit).toBe(2)
    expect(err).toContain('this bench has no jig')
  })
  it('is not done with 0 where a part of an earlier session was not accepted', async () => {
    const run = (grade: string): RunRecord => ({
      id: 'S1', sequence: 'screen', bench: 'b', state: 'done', startedWallMs: 0, endedWallMs: 1, person: 'Ida', use: 'touch-safe', software: '0',
      setup: { asked: 1, plan: { settled: [{ id: 'R1', grade, run: 'S0' }] } },
    })
    expect(exitOfRun(run('accept'), [result('R2', 'accept')])).toBe(0)
    expect(exitOfRun(run('reject'), [result('R2', 'accept')])).toBe(1)
    expect(exitOfRun(run('accept'), [])).toBe(1)
  })
})
