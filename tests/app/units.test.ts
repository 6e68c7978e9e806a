import { describe, expect, it } from 'vitest'
import { ProfileFolder } from '../../src/app/files.ts'
import { proposeRack, unitParts } from '../../src/app/units.ts'
import type { PartProfile } from '../../src/schema/part-profile.ts'
import type { PartResult, RunRecord } from '../../src/schema/run.ts'
import type { Store } from '../../src/schema/store.ts'
import { partName } from '../../src/schema/unit.ts'

const run = (id: string, sequence = 'screen', targetV = 450): RunRecord => ({
  id, sequence, bench: 'b', state: 'done', startedWallMs: 0, endedWallMs: 1, person: 'Ida', use: 'touch-safe', software: 's',
  setup: sequence === 'screen' ? {} : { plan: { targetV }, parts: [{ name: 'p', hash: '', profile: { ratedV: 450 } }] },
})
const result = (part: string, grade: PartResult['grade'] = 'accept', figures: PartResult['figures'] = {}): PartResult => ({
  position: 'P01', part, profile: 'p', grade, provisional: false, disposition: 'use', pConform: 1, reason: 'r', criteria: [], figures,
})
/** Newest first. */
const record = (...runs: [RunRecord, PartResult[]][]) => {
  const read: string[] = []
  const store = {
    listRuns: async () => runs.map(([one]) => one),
    run: async (id: string) => runs.find(([one]) => one.id === id)![0],
    results: async (id: string) => { read.push(id); return runs.find(([one]) => one.id === id)![1] },
  } as unknown as Store
  return { store, read }
}

describe('the parts of a unit on record', () => {
  it('have their newest result, whichever sequence it is from, and nothing of another unit', async () => {
    const { store, read } = record(
      [run('R3', 'leakage-soak'), [result('pavilion-C1')]],
      [run('R2'), [result('pavilion-C1', 'reject'), result('pavilion-C2', 'marginal'), result('hall-C3')]],
      [run('R1'), [result('pavilion-C2')]])
    const found = await unitParts(store, { unit: 'pavilion', designators: ['C1', 'C2', 'C3'] })
    expect(found.parts.map(({ designator, newest }) => [designator, newest?.run ?? null, newest?.result.grade ?? null])).toEqual([
      ['C1', 'R3', 'accept'], ['C2', 'R2', 'marginal'], ['C3', null, null],
    ])
    expect(found).toMatchObject({ runs: 3, wasAll: true })
    expect(found.parts.map(({ stands }) => stands)).toEqual([null, null, null])
    read.length = 0
    expect((await unitParts(store, { unit: 'pavilion', designators: ['C1'] })).runs).toBe(1)
    expect(read).toEqual(['R3'])
  })

  it('have the older word that a good one at fewer volts does not undo, and runs that cannot matter are not read for it', async () => {
    const { store, read } = record(
      [run('R4', 'capacitor-check'), [result('pavilion-C1')]], [run('R3', 'capacitor-check'), []], [run('R2', 'reform'), [result('pavilion-C1', 'reject')]],
      [run('R1', 'reform'), [result('pavilion-C1')]])
    const { parts: [found] } = await unitParts(store, { unit: 'pavilion', designators: ['C1'] })
    expect([found!.newest?.run, found!.stands?.run]).toEqual(['R4', 'R2'])
    expect(read).toEqual(['R4', 'R2'])
  })

  type Word = readonly [targetV: number, grade: PartResult['grade'], leftAtV?: number]
  it.each<[string, Word[], number | null]>([
    ['a good word at 50 V does not undo a bad one at 135 V', [[50, 'accept'], [450, 'reject', 135]], 1],
    ['a good word at 200 V undoes a bad one at 135 V', [[200, 'accept'], [450, 'reject', 135]], null],
    ['a bad one without a step is of the volts it was to go to', [[200, 'accept'], [450, 'reject']], 1],
    ['nor does it add to a good one at more', [[50, 'accept'], [450, 'accept'], [450, 'reject']], 1],
    ['a bad word at fewer volts counts', [[50, 'reject'], [450, 'accept']], null],
    ['what cannot be told at fewer volts undoes no reject', [[50, 'cannot tell'], [450, 'reject']], 1],
    ['but a good word at as many does', [[50, 'cannot tell'], [450, 'accept'], [450, 'reject']], null],
    ['and it counts against a good one', [[50, 'cannot tell'], [450, 'accept']], null],
    ['two good words at fewer do not either', [[50, 'accept'], [100, 'accept'], [450, 'cannot tell']], 2],
  ])('%s', async (_, words, stands) => {
    const { store } = record(...words.map(([targetV, grade, leftAtV], i): [RunRecord, PartResult[]] =>
      [run(`R${i}`, 'reform', targetV), [result('u-C1', grade, leftAtV === undefined ? {} : { leftAtV })]]))
    const { parts: [found] } = await unitParts(store, { unit: 'u', designators: ['C1'] })
    expect([found!.newest!.run, found!.stands?.run ?? null]).toEqual(['R0', stands === null ? null : `R${stands}`])
  })

  it('say at how many volts they were seen, from the jig and from the rack', async () => {
    const { store } = record([run('R2', 'screen'), [result('u-C1', 'accept', { leakageV: 20 }), result('u-R1')]], [run('R1', 'reform', 50), [result('u-C2')]])
    const { parts } = await unitParts(store, { unit: 'u', designators: ['C1', 'R1', 'C2'] })
    expect(parts.map(({ newest }) => [newest!.volts, newest!.ratedV])).toEqual([[20, null], [null, null], [50, 450]])
  })

  it('have nothing of a run that judged the positions they sat at', async () => {
    const { store } = record([run('R2', 'bench-check'), [result('pavilion-C1')]], [run('R1', 'reform'), [result('pavilion-C1', 'reject')]])
    const { parts: [found] } = await unitParts(store, { unit: 'pavilion', designators: ['C1'] })
    expect(found!.newest?.run).toBe('R1')
  })

  it('bear names that every table can hold', () => {
    expect(partName('pavilion', 'C1')).toBe('pavilion-C1')
    expect(partName('pavilion', 'line 7 #3')).toBe('pavilion-line-7-3')
  })
})

describe('a rack for parts that are to be formed', () => {
  const profiles = new ProfileFolder(null)
  const all = profiles.partNames().map(name => profiles.part(name).profile)
  const [can47, can10, can100] = ['al-450v-47u-general', 'al-450v-10u-general', 'al-350v-100u-general'].map(name =>
    all.find(profile => profile.name === name)!) as [PartProfile, PartProfile, PartProfile]
  const part = (designator: string, { ratedV, capacitanceF }: PartProfile) => ({ designator, ratedV, capacitanceF })

  it('holds the largest group of one rated voltage, in order, and says what waits for another night and why', () => {
    const rack = proposeRack(['P01', 'P02'], all, {
      unit: 'pavilion', parts: [part('C1', can100), part('C2', can47), part('C3', can10), part('C4', can47)],
    })
    expect(rack.ratedV).toBe(450)
    expect(rack.parts).toEqual([
      { position: 'P01', part: 'pavilion-C2', profile: can47.name, ratedV: 450, capacitanceF: 47e-6 },
      { position: 'P02', part: 'pavilion-C3', profile: can10.name, ratedV: 450, capacitanceF: 10e-6 },
    ])
    expect(rack.left).toEqual([
      { designator: 'C1', why: '350 V: another night' }, { designator: 'C4', why: 'the bench has 2 positions: another night' },
    ])
  })

  it('leaves what has no profile, several, or no rating, to a person', () => {
    const twin = { ...can47, name: 'al-450v-47u-twin' }
    const rack = proposeRack(['P01'], [can47, twin, can10], {
      unit: 'pavilion', parts: [
        part('C1', can47), { designator: 'C2', ratedV: null, capacitanceF: 1e-5 }, { designator: 'C3', ratedV: 400, capacitanceF: 1e-5 },
      ],
    })
    expect(rack.parts).toEqual([])
    expect(rack.left.map(({ why }) => why)).toEqual([
      'several part profiles fit, choose: al-450v-47u-general, al-450v-47u-twin', 'the list gives no rating or no value',
      'no part profile has its rating and value: write one',
    ])
  })
})
