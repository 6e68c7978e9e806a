/** Burn-ins that go on, hours of several units, and the test record of one, over the real daemon. */
import { beforeAll, describe, expect, it } from 'vitest'
import type { UnitFault } from '../../mocks/units/faults.ts'
import { pavilionAmplifier } from '../../mocks/units/scenario.ts'
import { goesOn, presses, standDaemon, type StandDaemon } from '../../nights/virtual-stand-daemon.ts'
import { openInlineStore } from '../../src/store/inline.ts'
import { unitRecord } from '../../src/report/unit-record-schema.ts'
import { poweringRequest, type PoweringRequest } from '../../src/schema/powering.ts'
import type { RunRecord } from '../../src/schema/run.ts'
import type { Store } from '../../src/schema/store.ts'
import { unitRecordRequest } from '../../src/schema/unit.ts'

const asked = (over: Partial<Record<keyof PoweringRequest, unknown>> = {}): PoweringRequest => poweringRequest.parse({
  sequence: 'burn-in', unit: 'saltmarsh-pavilion-amplifier', specimen: 'pavilion-1', person: 'Ida', cautionsConfirmed: true, use: 'unattended',
  unpowered: {
    by: 'a qualified person', earthBondOhm: 0.05, insulationOhm: 40e6, insulationV: 500, fuse: 'T 2 A', mainsPartsProven: true, railsNotShorted: true,
  },
  parameters: { programme: [{ kind: 'tone', forS: 900 }] }, ...over,
})
async function open(store: Store, faults: readonly UnitFault[] = [], seed = 11): Promise<StandDaemon> {
  const s = await standDaemon(pavilionAmplifier(seed, faults).made.world, { seed, store })
  goesOn(s, s.daemon)
  presses(s)
  return s
}
async function run(s: StandDaemon, request: PoweringRequest, stopAfterS?: number): Promise<RunRecord> {
  const { id } = await s.clock.run(s.daemon.powering.begin(request))
  if (stopAfterS !== undefined) {
    await s.clock.run(new Promise<void>(resolve => { s.clock.after(1000 * stopAfterS, resolve) }))
    await s.clock.run(s.daemon.stop('a person came in'))
  }
  const ended = await s.clock.run(s.daemon.ended(id))
  if (stopAfterS !== undefined) await s.clock.run(s.daemon.acknowledge('all well', 'Ida'))
  return ended
}
const countedS = async ({ store }: StandDaemon, id: string): Promise<number> => (await store.results(id))[0]!.unit!.burnIn!.countedS

describe('a burn-in that was ended before its time', () => {
  let s: StandDaemon
  let first: RunRecord
  let between: RunRecord
  let second: RunRecord
  beforeAll(async () => {
    s = await open(openInlineStore(':memory:'))
    await run(s, asked({ sequence: 'first-power', use: 'attended', parameters: { limitedS: 20, fullS: 60, warmS: 60 } }))
    first = await run(s, asked(), 500)
    between = await run(s, asked({ parameters: {}, continues: first.id }), 200)
    second = await run(s, asked({ parameters: {}, continues: between.id }))
  }, 60_000)

  it('goes on where its time stood, with the programme that it began with, and says so', async () => {
    expect([first.state, between.state, second.state]).toEqual(['stopped', 'stopped', 'done'])
    const before = await countedS(s, between.id)
    expect(before).toBeGreaterThan(await countedS(s, first.id))
    expect(before).toBeGreaterThan(300)
    expect(await countedS(s, second.id)).toBeGreaterThanOrEqual(900)
    expect(await countedS(s, second.id)).toBeLessThan(1000)
    const tookS = (second.endedWallMs! - second.startedWallMs) / 1000
    expect(tookS).toBeLessThan(900 - before + 300)
    expect((await s.store.events(first.id)).find(({ kind }) => kind === 'continued')!.data).toMatchObject({ run: between.id })
    expect((await s.store.run(second.id))!.setup).toMatchObject({ continues: between.id, request: { parameters: { programme: [{ forS: 900 }] } } })
  })

  const refused: [string, () => Partial<Record<keyof PoweringRequest, unknown>>, string][] = [
    ['a run that got done', () => ({ parameters: {}, continues: second.id }), 'done'],
    ['a run that is not the newest', () => ({ parameters: {}, continues: first.id }), 'the newest burn-in'],
    ['a run of another unit', () => ({ parameters: {}, continues: second.id, specimen: 'pavilion-2' }), 'there is no burn-in'],
    ['parameters of its own', () => ({ continues: first.id }), 'the parameters that it began with'],
    ['another sequence', () => ({ parameters: {}, continues: first.id, sequence: 'verify', use: 'attended' }), 'only a burn-in'],
    ['a run that is none', () => ({ parameters: {}, continues: 'no-such-run' }), 'no-such-run'],
  ]
  it.each(refused)('does not go on from %s', async (_, over, words) => {
    await expect(s.clock.run(s.daemon.powering.plan(asked(over())))).rejects.toThrow(words)
  })

  it('stands in the record of the unit, as a page and as data', async () => {
    const data = JSON.parse(await s.daemon.units.record(unitRecordRequest.parse({ specimen: 'pavilion-1', format: 'json', verify: true }))) as unknown
    const record = unitRecord.parse(data)
    expect(record).toMatchObject({ specimen: 'pavilion-1', unit: { name: 'saltmarsh-pavilion-amplifier' }, verdict: { end: 'nothing proven' } })
    expect(record.runs.map(({ id }) => id)).toContain(second.id)
    expect(record.runs.every(({ chain }) => chain?.holds)).toBe(true)
    expect(record.burnIn).not.toBeNull()
    expect(record.firstPower).not.toBeNull()
    const page = await s.daemon.units.record(unitRecordRequest.parse({ specimen: 'pavilion-1' }))
    expect(page).toMatch(/^<!doctype html>/i)
    expect(page).toContain(second.id)
  })

  it('has a record only of what was run', async () => {
    await expect(s.daemon.units.record(unitRecordRequest.parse({ specimen: 'pavilion-9' }))).rejects.toMatchObject({ code: 'NOT_FOUND' })
  })
})

describe('hours of several units', () => {
  it('are counted once a unit, with who failed and why', async () => {
    const store = openInlineStore(':memory:')
    const short = { programme: [{ kind: 'tone', forS: 900 }] }
    const first = await open(store)
    const power = { sequence: 'first-power', use: 'attended', parameters: { limitedS: 20, fullS: 60, warmS: 60 } }
    await run(first, asked(power))
    await run(first, asked({ parameters: short }))
    const sick = await open(store, ['runaway'], 4)
    await run(sick, asked({ ...power, specimen: 'pavilion-2' }))
    const ended = await run(sick, asked({ specimen: 'pavilion-2', parameters: { programme: [{ kind: 'tone', forS: 40_000, powerShare: 0.3 }] } }))
    expect(ended.state).toBe('tripped')
    const { specimens, shown } = await sick.daemon.units.earlyFailures('saltmarsh-pavilion-amplifier')
    expect(specimens.map(({ specimen, failed }) => [specimen, failed])).toEqual([['pavilion-2', true], ['pavilion-1', false]])
    expect(specimens[1]!.hours).toBeCloseTo(0.25, 2)
    expect(shown).toMatchObject({ units: 2, failures: 1 })
    expect(shown!.says).toContain('2 units')
    expect(await sick.daemon.units.earlyFailures('saltmarsh-pavilion-monitor')).toMatchObject({ specimens: [], shown: null })
  })
})
