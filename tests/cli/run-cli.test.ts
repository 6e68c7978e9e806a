import { readFileSync, statSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { refuseUnless } from '../../src/app/begin-run.ts'
import { removeDaemonNote, writeDaemonNote } from '../../src/base/daemon-file.ts'
import { BenchError } from '../../src/base/errors.ts'
import { formatWall } from '../../src/base/format.ts'
import type { StartRequest } from '../../src/schema/run.ts'
import { idleStatus, runningStatus, samplePlan, type FakeApplication } from '../api/fake-application.ts'
import { startWallMs } from '../report/sample-night.ts'
import { localPort, openCli, type Cli } from './fake-cli.ts'

let cli: Cli
let app: FakeApplication
let folder: string
const run: Cli['run'] = async (...argv) => await cli.run(...argv)
const rack = (): string => cli.rack()

beforeEach(async () => {
  cli = await openCli()
  ;({ app, folder } = cli)
})
afterEach(async () => await cli.close())

describe('looking', () => {
  it('shows the status in words and as it is', async () => {
    app.shownStatus = runningStatus('R1')
    const { exit, out } = await run('status')
    expect(exit).toBe(0)
    expect(out).toContain('ENERGY ON')
    expect(JSON.parse((await run('status', '--json')).out)).toEqual(app.shownStatus)
  })

  it('ends with 3 while a trip is latched', async () => {
    app.shownStatus = { ...idleStatus, latched: { text: 'over-current', wallMs: 1 } }
    expect((await run('status')).exit).toBe(3)
  })

  it('ends with 4 when an instrument is not the one entered, and 0 when those asked are', async () => {
    const all = await run('instruments')
    expect(all.exit).toBe(4)
    expect(all.out).toContain('did not answer')
    expect(all.out).toMatch(/supply +supply +dc-supply .*as entered +5 answers, no error/)
    expect(all.out).toMatch(
      /\/dev\/ttyUSB0 +serial:\/dev\/serial\/by-id\/usb-a\?baud=9600 +supply +an adapter, 0403:6001 A1/
    )
    expect((await run('instruments', 'supply')).exit).toBe(0)
    expect((await run('instruments', 'kettle')).exit).toBe(2)
  })

  it('ends with 4 when a profile does not fit, with what was answered', async () => {
    app.wrongAnswers = ['`VOLT?`: expected a number or a word of the profile, got "ERR"']
    const { exit, out } = await run('instruments', 'supply')
    expect(exit).toBe(4)
    expect(out).toMatch(/NO, see below/)
    expect(out).toContain('supply: `VOLT?`: expected a number')
  })

  it('probes what it is told to and asks no instrument then, with a caution before', async () => {
    const { exit, out, err } = await run(
      'instruments', '--probe', 'tcp://127.0.0.1:5025', '--probe', 'serial:/dev/ttyUSB0'
    )
    expect(exit).toBe(4)
    expect(err).toContain('some boards reset')
    expect((await run('instruments', '--probe', 'tcp://127.0.0.1:5025')).err).toBe('')
    app.calls.splice(2)
    expect(out).toMatch(/tcp:\/\/127\.0\.0\.1:5025 +A,B,1,2 +supply/)
    expect(out).toMatch(/serial:\/dev\/ttyUSB0 +no answer: did not answer/)
    expect(app.calls.map(({ name, argument }) => [name, argument])).toEqual([
      ['probe', 'tcp://127.0.0.1:5025'], ['probe', 'serial:/dev/ttyUSB0'],
    ])
    const told = JSON.parse(
      (await run('instruments', '--probe', 'tcp://127.0.0.1:5025', '--json')).out
    ) as Record<string, unknown>
    expect(told).toMatchObject({
      instruments: null, probes: [{ identity: 'A,B,1,2' }], ports: [{ inBench: 'supply' }]
    })
  })

  it('lists ports without a daemon, asks only what it is told to, and says that no instrument was asked', async () => {
    removeDaemonNote(folder)
    const { exit, out, err } = await run('instruments', '--json')
    expect(exit).toBe(0)
    expect(JSON.parse(out)).toEqual({
      instruments: null, ports: [{ ...localPort, inBench: null }], probes: []
    })
    expect(err).toContain('No daemon is running: no instrument of a bench was asked.')
    expect(
      (await run('instruments', '--bench', 'b.yaml')).out
    ).toMatch(/usbtmc0 +usbtmc:\/dev\/usbtmc0 +psu of b\.yaml/)
    expect((await run('instruments', '--probe', 'tcp://here:5025')).exit).toBe(0)
    expect((await run('instruments', '--probe', 'tcp://nowhere:1')).exit).toBe(4)
  })

  it('ends with 4 when a daemon that should be there does not answer, and lists the ports all the same', async () => {
    writeDaemonNote(folder, { url: 'http://127.0.0.1:1', pid: 1, id: 'd' })
    const { exit, out, err } = await run('instruments')
    expect([exit, err]).toEqual([4, 'The daemon does not answer: no instrument of a bench was asked.\n'])
    expect(out).toContain('/dev/usbtmc0')
    expect((await run('instruments', 'psu')).exit).toBe(4)
    expect((await run('instruments', '--daemon', 'http://127.0.0.1:1')).exit).toBe(4)
  })

  it('lists runs, and says how one ended', async () => {
    const { out: listed } = await run('runs')
    expect(listed).toMatch(/R1 .* reform +done +1 h 00 min +Ida/)
    expect(listed).toContain(formatWall(startWallMs))
    const { out } = await run('report', '--verify')
    expect(out).toMatch(/P01 +C1 +accept \(provisional\) +use/)
    expect(out).toContain('The chain of hashes holds.')
  })

  it.each([['tripped', 3], ['stopped', 3], ['refused', 2], ['interrupted', 4]] as const)(
    'ends with the exit code of a run that was %s when it says how it ended', async (state, exit) => {
      await app.store.finishRun('R1', state, startWallMs + 2e7)
      expect((await run('report', 'R1')).exit).toBe(exit)
    })

  it('says why a run was refused', async () => {
    await app.store.appendEvent('R1', { kind: 'refused', severity: 'warning', atMs: 4e6, wallMs: startWallMs + 4e6, text: 'nobody confirmed presence at the bench' })
    await app.store.finishRun('R1', 'refused', startWallMs + 4e6)
    expect((await run('report', 'R1')).out).toMatch(/was refused; nothing was energised[^]*nobody confirmed presence at the bench/)
  })

  it('writes the record as the name of the file says, and refuses other names', async () => {
    const file = join(folder, 'r.html')
    expect((await run('report', 'R1', '-o', file)).exit).toBe(0)
    expect(readFileSync(file, 'utf8')).toContain('Test record of run R1')
    expect((await run('report', 'R1', '-o', join(folder, 'r.doc'))).exit).toBe(2)
    expect((await run('report', 'R1', '-o', join(folder, 'no', 'r.csv'))).exit).toBe(2)
    expect((await run('report', 'R9')).exit).toBe(2)
  })

  it('exports every reading, as CSV and as JSON lines', async () => {
    const { out } = await run('export', 'R1', '--channel', 'bus.voltage')
    expect(out.trimEnd().split('\r\n')).toHaveLength(722)
    const lines = (await run('export', '--json', '--channel', 'P01.current')).out.trimEnd().split('\n')
    expect(lines).toHaveLength(721)
    expect(JSON.parse(lines[0]!)).toMatchObject({ channel: 'P01.current', unit: 'A', quality: 'good' })
  })
})

describe('planning and starting', () => {
  it('lists the sequences, those of a person with file and hash', async () => {
    const { exit, out } = await run('sequences')
    expect(exit).toBe(0)
    expect(out).toMatch(/reform +shipped +Forms old electrolytics back/)
    expect(out).toMatch(/slow-rise +\/data\/sequences\/slow-rise\.mjs 0123456789abcdef +Goes up slowly/)
    expect(JSON.parse((await run('sequences', '--json')).out)).toEqual(app.sequences())
    expect((await run('sequences', 'reform')).out).toMatch(/^soakS +3600 +60 and more/m)
  })

  it('plans in words, with parameters as numbers, and starts nothing', async () => {
    const { exit, out } = await run(
      'plan', 'reform', '--parts', rack(), '--set', 'holdS=3600', '--set', 'note=slow'
    )
    expect(exit).toBe(0)
    expect(out).toContain('takes about 8 h 20 min, at most 13 h 53 min')
    expect(app.calls).toHaveLength(1)
    expect(app.calls[0]!.argument).toMatchObject({
      parameters: { holdS: 3600, note: 'slow' }, parts: [{ part: 'C1' }], person: 'ida',
    })
  })

  it('does not say that parts of which nothing is known hold nothing', async () => {
    app.shownPlan = { ...samplePlan, partEnergyMaxJ: null, rackEnergyJ: null, touchSafeAfterS: null }
    const { out } = await run('plan', 'discharge', '--parts', rack())
    for (const what of ['energy in one part, at most', 'energy in the rack', 'touch-safe through the bleeders after']) {
      expect(out).toMatch(new RegExp(`${what} +not known: what stands on the parts is measured first`))
    }
  })

  it('shows both numbers and the way out of a refusal, and ends with 2', async () => {
    app.shownPlan = { ...samplePlan, refusals: [
      { what: 'rated volts', have: '400 V', need: '450 V', wayOut: 'Lower the target.', position: 'P01' },
    ] }
    const { exit, out } = await run('plan', 'reform', '--parts', rack())
    expect(exit).toBe(2)
    expect(out).toContain('P01: rated volts: has 400 V, needs 450 V.\n    Lower the target.')
    expect(out, 'no figures of a run that never is').not.toMatch(/takes about|energy in one part|Cautions/)
  })

  it('tells a refusal once, with all the positions that it is of', async () => {
    const bulging = { what: 'condition', have: 'bulging', need: 'sound', wayOut: 'Take it off.' }
    const noGear = { what: 'cutoff', have: 'none', need: 'a hold-in cutoff relay', wayOut: 'Fit one.' }
    const refusals = [{ ...bulging, position: 'P01' }, noGear, { ...bulging, position: 'P02' }, noGear]
    app.shownPlan = { ...samplePlan, refusals }
    const { out } = await run('plan', 'reform', '--parts', rack())
    expect(out.match(/Take it off|Fit one/g)).toEqual(['Take it off', 'Fit one'])
    expect(out).toContain('P01 P02: condition: has bulging, needs sound.')
    expect(() => refuseUnless({} as StartRequest, app.shownPlan)).toThrow(expect.objectContaining({
      message: 'the plan is refused\n  P01 P02: condition: bulging, needs sound (Take it off.)\n  cutoff: none, needs a hold-in cutoff relay (Fit one.)',
    }) as Error)
  })

  it('shows the cautions and starts nothing until they are confirmed', async () => {
    const { exit, err } = await run('start', 'reform', '--parts', rack())
    expect(exit).toBe(2)
    expect(err).toContain('Wear eye protection.')
    expect(err).toContain('--cautions-read')
    expect((await run('start', 'brew', '--parts', rack())).err).toContain('one of reform')
    expect(app.calls).toEqual([])
  })

  it('shows them again before a run is continued, and how both confirmations are given', async () => {
    expect((await run('start', 'reform', '--parts', rack(), '--cautions-read')).exit).toBe(0)
    const { exit, err } = await run('continue', 'R2')
    expect(exit).toBe(2)
    expect(err).toContain('Wear eye protection.')
    expect(err).toMatch(/add --cautions-read when .* and --polarity-checked when you have looked at every part/)
    expect(app.calls.map(({ name }) => name)).not.toContain('continueRun')
    expect((await run('continue', 'R2', '--cautions-read', '--polarity-checked')).exit).toBe(0)
    expect(app.calls.at(-1)).toMatchObject({ name: 'continueRun', argument: { cautionsConfirmed: true } })
  })

  it('leaves it to the daemon to say of a screening session that it is not continued so', async () => {
    await app.store.createRun({
      id: 'S1', sequence: 'screen', bench: 'pavilion', state: 'interrupted', startedWallMs: startWallMs, endedWallMs: startWallMs,
      person: 'K. Marsh', use: 'touch-safe', software: '0', setup: {},
    }, [])
    const { err } = await run('continue', 'S1')
    expect(err).not.toContain('there is no such sequence')
    expect(app.calls.map(({ name }) => name)).toContain('continueRun')
  })

  it('starts with what the person has confirmed, and says what the plan warns of', async () => {
    app.shownPlan = { ...samplePlan, warnings: ['Sweeps wear the scanner.'] }
    const { exit, out } = await run(
      'start', 'reform', '--parts', rack(), '--cautions-read', '--polarity-checked'
    )
    expect(exit).toBe(0)
    expect(out).toContain('nightbench watch R2')
    expect(out).toMatch(/^Mind:\n {2}- Sweeps wear the scanner\.\n\nRun R2/)
    expect(app.calls[0]!.argument).toMatchObject({ cautionsConfirmed: true, polarityConfirmed: true })
  })

  it('reports what the daemon refused with its sentence, its mend line and the exit code', async () => {
    app.startFails = new BenchError('TRIPPED', 'a trip is latched')
    const plain = await run('start', 'reform', '--cautions-read')
    expect(plain).toEqual({
      exit: 3, out: '', err: 'a trip is latched\nFind the cause, then `nightbench ack` with the reason.\n',
    })
    const json = await run('start', 'reform', '--cautions-read', '--json')
    expect(JSON.parse(json.out)).toEqual({ error: JSON.parse(JSON.stringify(app.startFails)) as unknown })
  })

  it('reports a bad rack list before it asks the daemon', async () => {
    const path = join(folder, 'bad.csv')
    writeFileSync(path, 'position,part\nP01,C1\n')
    expect((await run('plan', 'reform', '--parts', path)).exit).toBe(2)
    expect(app.calls).toEqual([])
  })
})

describe('at the bench', () => {
  it('acknowledges with a reason, and not without', async () => {
    expect((await run('ack')).exit).toBe(2)
    expect(await run('ack', 'loose', 'clip', '--person', 'Ida')).toMatchObject({ exit: 0, out: expect.stringContaining('Nothing was latched') })
    expect(app.calls).toEqual([{ name: 'acknowledge', argument: { reason: 'loose clip', person: 'Ida' } }])
    for (const held of [{ latched: { text: 'over-current', wallMs: 0 } }, { keeper: 'safe' as const }]) {
      app.shownStatus = { ...idleStatus, ...held }
      expect((await run('ack', 'mended')).out).toBe('Acknowledged. The bench accepts work again.\n')
    }
  })

  it('says who is at the bench', async () => {
    expect((await run('present', '--person', 'Ida')).exit).toBe(0)
    expect(app.calls).toEqual([{ name: 'confirmPresence', argument: 'Ida' }])
  })
})

describe('the command line itself', () => {
  it('prints help with the exit codes, and the version', async () => {
    const help = await run('--help')
    expect(help.exit).toBe(0)
    for (const name of ['demo', 'serve', 'instruments', 'sequences', 'plan', 'start', 'watch', 'status', 'stop', 'ack', 'runs', 'report', 'export', 'schema']) {
      expect(help.out).toMatch(new RegExp(`^  ${name}`, 'm'))
      expect((await run(name, '--help')).out).toContain('--json')
    }
    expect((await run('--version')).out).toMatch(/^nightbench \d+\.\d+\.\d+\n$/)
  })

  it.each([[['fly']], [['status', '--wrong']], [['plan']], [['serve']], [['runs', '--limit', 'x']], [[]]])(
    'ends %j with 2', async argv => { expect((await run(...argv)).exit).toBe(2) })

  it('says in one line that no daemon is there, and how to get one', async () => {
    removeDaemonNote(folder)
    const { exit, err } = await run('status')
    expect(exit).toBe(4)
    expect(err.trimEnd().split('\n')).toHaveLength(2)
    expect(err).toContain('nightbench serve')
  })

  it('hands serve and demo what was asked, and gives back how they end', async () => {
    expect((await run('serve', '--bench', 'bench.yaml', '--port', '0')).exit).toBe(0)
    expect(app.calls[0]!.argument).toMatchObject({
      bench: 'bench.yaml', port: 0, remote: null, data: folder
    })
    expect((await run('demo', '--seed', '7', '--json')).exit).toBe(1)
    expect(app.calls[1]!.argument).toMatchObject({ seed: '7', json: true })
    expect((await run('serve', '--bench', 'b', '--port', '70000')).exit).toBe(2)
  })

  it('keeps the note of the daemon to its owner', () => {
    writeDaemonNote(folder, { url: 'http://127.0.0.1:1', pid: 1, id: 'd' })
    expect(statSync(join(folder, 'daemon.json')).mode & 0o777).toBe(0o600)
  })
})
