/** The record of first powers that were really run, on a stand that is simulated: what those say, it understands. */
import { describe, expect, it } from 'vitest'
import { firstPower, firstPowerParameters } from '../../src/powering/first-power.ts'
import { runPower } from '../../src/powering/runner.ts'
import { readUnitRuns } from '../../src/report/unit-record-read.ts'
import { unitRecordHtml, unitRecordJson, type UnitRecordInput } from '../../src/report/unit-record.ts'
import { unitRecord } from '../../src/report/unit-record-schema.ts'
import { openInlineStore } from '../../src/store/inline.ts'
import { profile, request, sitting, stand, type Wrongs } from '../powering/fake-stand.ts'
import { placesOf } from '../../src/powering/places.ts'

const parameters = firstPowerParameters.parse({ limitedS: 20, fullS: 30, warmS: 60 })
const two = profile({
  stages: [{ name: 'supply', rails: ['plus', 'minus'] }, { name: 'whole', outputs: true, rails: ['plus', 'minus'] }],
})

/** The record of one first power; `wrong` begins once mains has been straight for 20 s. */
async function recordOf(wrong: Wrongs = {}): Promise<UnitRecordInput> {
  const s = await sitting({ profile: two, pauseMs: 60_000 })
  const { sim, handles } = s
  const look = (): void => {
    if (sim.way?.name === 'straight') sim.clock.after(20_000, () => { sim.rails(); Object.assign(sim.wrong, wrong) })
    else sim.clock.after(100, look)
  }
  look()
  await sim.clock.run(runPower(handles, (power, sweep) => firstPower(power, sweep, parameters)).finally(() => s.stopPulse()))
  const run = (await handles.store.run('run-1'))!
  const setup = { request: { ...request() }, profile: { name: two.unit, hash: 'ab12', profile: two } }
  const store = openInlineStore(':memory:')
  const { all } = placesOf(two, stand, request().wiring).places
  const events = await handles.store.events('run-1')
  await store.createRun({ ...run, state: 'running', startedWallMs: events[0]!.wallMs, endedWallMs: null, setup }, all)
  for (const { seq: _, hash: __, ...event } of events) await store.appendEvent('run-1', event)
  for (const result of await handles.store.results('run-1')) await store.saveResult('run-1', result)
  for (const { index } of all) {
    const { channel, atMs, value, u } = await handles.store.series('run-1', index)
    await store.appendReadings('run-1', Array.from(atMs, (at, i) => ({ channel, atMs: at, value: value[i]!, u: u[i]!, quality: 'good' as const })))
  }
  await store.finishRun('run-1', run.state, run.endedWallMs ?? 0)
  return {
    specimen: 'unit-1', madeWallMs: 0, software: 'test', parts: null, ...await readUnitRuns(store, 'unit-1', { runsMost: 10 }),
  }
}

describe('the record of a first power that was run', () => {
  it('has its stages with what was read against whose limits, and who said to go on', async () => {
    const given = await recordOf()
    const record = unitRecordJson(given)
    expect(unitRecord.parse(record)).toEqual(record)
    const { stages, compared, grade } = record.firstPower!
    expect(stages.map(({ name, ways }) => [name, ways.map(({ says }) => says.split(' ').at(-1))])).toEqual([
      ['supply', ['lamp', 'half', 'straight']], ['whole', ['lamp', 'half', 'straight']],
    ])
    expect(stages.map(({ says }) => says)).toEqual(['stage supply passed', 'stage whole on full mains for 90.0 s'])
    const read = Object.fromEntries(stages[1]!.read.map(row => [row.of, row]))
    for (const { name, where, value, unit, limitLow, limitHigh, source } of compared) {
      const of = [name, where].filter(Boolean).join(' ')
      expect(read[of], of).toMatchObject({ value, unit, limitHigh, source })
      // An idle current has its least once it is warm alone, which the log does not tell.
      if (name !== 'idle current') expect(read[of]!.limitLow).toBe(limitLow)
    }
    expect(Object.keys(read)).toHaveLength(compared.length)
    expect(stages[0]!.read.map(({ of }) => of)).not.toContain('dc at the output left')
    expect(grade).toBe('accept')
    const [run] = record.runs
    expect(run!.holds.map(({ id, person, mainsOn }) => [id, person, mainsOn])).toEqual([
      ['stage.supply', 'a person', false], ['stage.whole', 'a person', false],
    ])
    for (const { askedWallMs, wentOnWallMs } of run!.holds) expect(wentOnWallMs! - askedWallMs).toBeGreaterThanOrEqual(60_000)
    expect([run!.trips, record.alarms]).toEqual([[], []])
    expect(record.touch).toMatchObject({ isSafe: true })
    expect(record.touch!.words).toContain('every rail measured below 60 V')
    const rail = run!.courses.find(({ channel }) => channel === 'rail.plus')!
    expect(Math.max(...rail.max.map(value => value ?? 0))).toBeCloseTo(70, 1)
    expect(rail.atS.at(-1)!).toBeLessThanOrEqual((run!.endedWallMs! - run!.startedWallMs) / 1000)
    expect(unitRecordHtml(given)).not.toContain('class="alarm"')
  })

  it('leads with a trip, names its limit and the time to mains off, and what may not be touched', async () => {
    const given = await recordOf({ dcV: 0.4, openBleeder: true })
    const record = unitRecordJson(given)
    const [run] = record.runs
    expect(run).toMatchObject({ state: 'tripped', trips: [{ limit: 'left.dc.high' }] })
    expect(run!.trips[0]!.faultToDisconnectedMs).toBeLessThan(1000)
    expect(record.alarms).toHaveLength(1)
    expect(record.alarms[0]!.says).toContain(run!.trips[0]!.says)
    expect(record.touch!.isSafe).toBe(false)
    const page = unitRecordHtml(given)
    expect(page.indexOf('NOT SAFE TO TOUCH')).toBeGreaterThan(page.indexOf('class="alarm"'))
    expect(page.indexOf('NOT SAFE TO TOUCH')).toBeLessThan(page.indexOf('id="verdict"'))
    expect(record.firstPower).toMatchObject({ grade: null, compared: [] })
    expect(page).toContain('It came to no result.')
    expect(record.verdict.limits).toContain('Its first power run-1 ended by a trip and came to no result.')
  })
})
