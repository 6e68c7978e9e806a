import { writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { earlyFailureLines, poweringLines, poweringPlanLines } from '../../src/cli/powering-text.ts'
import { statusLines } from '../../src/cli/status-text.ts'
import { BenchError } from '../../src/base/errors.ts'
import type { PoweringStatus } from '../../src/schema/powering.ts'
import { idleStatus, shownPoweringPlan, unitBody } from '../api/fake-application.ts'
import { openCli, type Cli } from './fake-cli.ts'

let cli: Cli
beforeEach(async () => { cli = await openCli() })
afterEach(async () => { await cli.close() })

const { unit, specimen, unpowered } = unitBody
function sheet(over: object = {}): string {
  const path = join(cli.folder, 'sheet.yaml')
  writeFileSync(path, JSON.stringify({ unit, specimen, unpowered, ...over }))
  return path
}
const status: PoweringStatus = {
  run: 'U1', sequence: 'first-power', unit, specimen, stage: 'whole, full', way: 'full', counted: null,
  hold: null, startedWallMs: 0, elapsedS: 63, remainingS: 1200,
  quantities: [{ name: 'rail.plus', value: 35.2, u: 0.01, unit: 'V' }, { name: 'warm.heatsink', value: null, u: null, unit: '°C' }], ending: null,
}
const waiting: PoweringStatus = { ...status, way: null, hold: { id: 'stage.whole', text: 'cover closed', mainsOn: false } }

describe('a unit on the command line', () => {
  it('plans from a sheet, with a parameter, touching nothing', async () => {
    const { exit, out } = await cli.run('first-power', sheet(), '--plan', '--set', 'warmS=60')
    expect(exit).toBe(0)
    expect(out).toContain('first-power of unit-1 (an-amplifier), attended')
    expect(out).toContain('whole, straight')
    expect(out).toContain('Mains kills.')
    expect(cli.app.calls).toMatchObject([{ name: 'powering.plan', argument: { parameters: { warmS: 60 }, use: 'attended', person: 'ida' } }])
  })
  it('says what refuses it, and how out, and exits 2', async () => {
    cli.app.powering.shownPlan = {
      ...shownPoweringPlan, refusals: [{ what: 'the fuse that is in', have: 'T 6 A', need: 'T 2 A', wayOut: 'fit the one that the unit prints' }],
    }
    const { exit, out } = await cli.run('first-power', sheet(), '--plan')
    expect(exit).toBe(2)
    expect(out).toBe('This cannot be started. Nothing was touched.\n  - the fuse that is in: has T 6 A, needs T 2 A.\n    fit the one that the unit prints\n')
  })
  it('burns in with nobody there unless asked otherwise', async () => {
    await cli.run('burn-in', sheet(), '--plan')
    expect(cli.app.calls).toMatchObject([{ argument: { sequence: 'burn-in', use: 'unattended' } }])
  })
  it('shows the cautions, and begins nothing, where nobody has read them', async () => {
    cli.app.powering.fails = new BenchError('REFUSED', 'the cautions are not confirmed')
    const { exit, err } = await cli.run('verify', sheet())
    expect(exit).toBe(2)
    expect(err).toContain('  - Mains kills.')
    expect(err).toContain('--cautions-read')
  })
  it('begins, and leaves it where it is asked to', async () => {
    const { exit, out } = await cli.run('first-power', sheet(), '--cautions-read', '--leave')
    expect(exit).toBe(0)
    expect(out).toContain('nightbench watch U1')
    expect(cli.app.calls).toMatchObject([{ name: 'powering.begin', argument: { cautionsConfirmed: true, specimen: 'unit-1' } }])
  })
  it('names file, path, expected and got in a sheet that does not fit', async () => {
    const { exit, err } = await cli.run('first-power', sheet({ unpowered: { ...unpowered, mainsPartsProven: 'yes' } }), '--plan')
    expect(exit).toBe(2)
    expect(err).toMatch(/sheet\.yaml/)
    expect(err).toMatch(/unpowered\.mainsPartsProven/)
    expect(cli.app.calls).toEqual([])
  })
  it('goes on with the step that waits, by name or without, and not without one', async () => {
    const none = await cli.run('go-on')
    expect([none.exit, none.err]).toEqual([2, expect.stringContaining('no step of a unit waits')])
    cli.app.powering.shown = waiting
    const { exit, out } = await cli.run('go-on', '--person', 'Ida')
    expect([exit, out]).toEqual([0, 'WAITS (mains off): cover closed\nIda: goes on.\n'])
    expect(cli.app.calls.at(-1)).toEqual({ name: 'powering.goOn', argument: { id: 'stage.whole', person: 'Ida' } })
  })
})

describe('the record of a unit on the command line', () => {
  it('writes a page or data, by the name of the file', async () => {
    const file = join(cli.folder, 'unit.html')
    const { exit, out } = await cli.run('report', '--unit', 'unit-1', '-o', file)
    expect([exit, out]).toEqual([0, `Wrote ${file}, 15 bytes.\n`])
    expect(cli.app.calls.at(-1)).toMatchObject({ name: 'units.record', argument: { specimen: 'unit-1', format: 'html', lines: [], verify: false } })
    expect((await cli.run('report', '--unit', 'unit-1', '-o', 'unit.csv')).err).toContain('.html or .json')
  })
  it('hands on the parts list and what a policy wants', async () => {
    const list = join(cli.folder, 'parts.csv')
    writeFileSync(list, 'designator,kind,value\nR1,resistor,4k7\n')
    await cli.run('report', '--unit', 'unit-1', '--list', list, '-o', join(cli.folder, 'unit.json'))
    expect(cli.app.calls.at(-1)).toMatchObject({ argument: { format: 'json', lines: [{ designator: 'R1', wanted: { action: 'prove' } }] } })
  })
  it('is of one thing: a run, a part or a unit', async () => {
    expect((await cli.run('report', 'R1', '--unit', 'unit-1')).exit).toBe(2)
    expect((await cli.run('report', '--unit', 'unit-1', '--policy', 'p.yaml')).err).toContain('--list')
  })
  it('says that no unit has burnt in', async () => {
    expect((await cli.run('early-failures', 'an-amplifier')).out).toBe('No burn-in by profile an-amplifier is on record.\n')
  })
})

describe('a unit in words', () => {
  it('says of mains in capitals, of what waits, and what is not read', () => {
    const lines = poweringLines(status, 0)
    expect(lines[0]).toBe('first-power of unit-1: whole, full; MAINS ON by way of full')
    expect(lines[1]).toMatch(/^1 min 03 s in, about 20 min 00 s to go/)
    expect(lines.at(-1)).toMatch(/^warm\.heatsink +– +–$/)
    expect(poweringLines(waiting, 0).slice(0, 3).join('\n')).toMatch(/waits for a person; mains off\n.*\nWAITS \(mains off\): cover closed$/)
  })
  it('says what counts of a burn-in, and why it does not', () => {
    const counted = { countedS: 3600, askedS: 7200, waits: 'the air is warmer than 35 °C' }
    expect(poweringLines({ ...status, counted }, 0)[1]).toContain('1 h 00 min of 2 h 00 min count, not now: the air is warmer than 35 °C')
  })
  it('says why it ends', () => {
    expect(poweringLines({ ...status, way: null, ending: { as: 'tripped', why: 'DC at the output', wallMs: 0 } }, 0)[1])
      .toMatch(/^tripped at .*: DC at the output; rails are being followed down$/)
  })
  it('stands in the status of the bench', () => {
    const lines = statusLines({ ...idleStatus, energy: 'live', keeper: 'armed', powering: status })
    expect(lines[0]).toBe('pavilion: run U1; ENERGY ON, keeper armed')
    expect(lines).toContain('Back to it: nightbench watch')
  })
  it('tells each unit with its hours, and what they come to', () => {
    const shown = { units: 2, failures: 1, hours: 100, rateMostPerH: 0.05, betweenLeastH: 20, weibull: null, says: 'so it is' }
    const specimens = [
      { specimen: 'unit-1', run: 'B1', hours: 72, failed: false, why: '' }, { specimen: 'unit-2', run: 'B2', hours: 28, failed: true, why: 'heat' },
    ]
    expect(earlyFailureLines({ unit: 'an-amplifier', specimens, shown })).toEqual([
      'unit    run  hours  failed', 'unit-1  B1    72.0  no', 'unit-2  B2    28.0  heat', '', 'so it is',
    ])
  })
  it('leaves out what there is none of', () => {
    const text = poweringPlanLines(shownPoweringPlan).join('\n')
    expect(text).not.toContain('Measured:')
    expect(text).not.toContain('Mind:')
    expect(poweringPlanLines({ ...shownPoweringPlan, measured: ['thd'], left: ['damping: no load'] }).join('\n')).toContain('Not measured:\n  - damping: no load')
  })
})
