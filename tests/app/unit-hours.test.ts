/** Hours and failures of units, over all burn-ins on record. */
import { describe, expect, it } from 'vitest'
import { earlyFailuresOf } from '../../src/app/unit-hours.ts'
import { poweringRequest } from '../../src/schema/powering.ts'
import type { PartResult } from '../../src/schema/run.ts'
import type { Store } from '../../src/schema/store.ts'
import { openInlineStore } from '../../src/store/inline.ts'

const unit = 'saltmarsh-pavilion-amplifier'
const hour = 3600

interface Ran {
  readonly specimen?: string
  readonly continues?: string
  readonly parameters?: Record<string, unknown>
  readonly grade?: PartResult['grade']
  /** Hours that had counted at its end, those of what it continues included; null: it has no result. */
  readonly hours: number | null
}

/** One after the other, named a, b, c … */
async function record(runs: readonly Ran[]): Promise<Store> {
  const store = openInlineStore(':memory:')
  for (const [i, { specimen = 'one', continues, parameters = {}, grade = 'accept', hours }] of runs.entries()) {
    const id = 'abcdefgh'[i]!
    const request = poweringRequest.parse({
      sequence: 'burn-in', unit, specimen, parameters, person: 'Ida', ...continues === undefined ? {} : { continues },
      unpowered: { by: 'Ida', fuse: 'T 2 A', mainsPartsProven: true, railsNotShorted: true },
    })
    await store.createRun({
      id, sequence: 'burn-in', bench: 'unit-stand', state: 'running', startedWallMs: i + 1, endedWallMs: null, person: 'Ida',
      use: 'unattended', software: 'test', setup: { request, ...continues === undefined ? {} : { continues } },
    }, [])
    if (hours !== null) await store.saveResult(id, resultOf(grade, hours))
    await store.finishRun(id, grade === 'reject' ? 'tripped' : 'stopped', i + 2)
  }
  return store
}
const resultOf = (grade: PartResult['grade'], hours: number): PartResult => ({
  position: 'unit', part: 'one', profile: unit, grade, provisional: false, disposition: 'use', pConform: 1,
  reason: grade === 'reject' ? `a fault at ${hours} h` : '', criteria: [], figures: {},
  unit: {
    figures: [], claims: [], curves: [], left: [],
    burnIn: { countedS: hours * hour, askedS: 1e6, wallS: 0, switchings: 1, lost: [], drifts: [], warmth: [], says: '' },
  },
})
const lives = async (runs: readonly Ran[]) => (await earlyFailuresOf(await record(runs), unit)).specimens
  .map(({ specimen, run, hours, failed, why }) => [specimen, run, hours, failed, why])

describe('hours of all burn-ins of a unit', () => {
  it('are one life where it never failed, whatever ended the runs', async () => {
    expect(await lives([{ hours: 10, grade: 'cannot tell' }, { hours: 5 }])).toEqual([['one', 'b', 15, false, '']])
  })
  it('count those of a run that went on once', async () => {
    expect(await lives([{ hours: 10, grade: 'cannot tell' }, { hours: 12, continues: 'a', grade: 'cannot tell' }, { hours: 20, continues: 'b' }]))
      .toEqual([['one', 'c', 20, false, '']])
  })
  it('keep a failure that a later run would hide, and begin anew after it', async () => {
    expect(await lives([{ hours: 10, grade: 'reject' }, { hours: 72, continues: 'a' }]))
      .toEqual([['one', 'b', 62, false, ''], ['one', 'a', 10, true, 'a fault at 10 h']])
  })
  it('put each failure at the hours since the one before', async () => {
    const runs: Ran[] = [
      { hours: 4, grade: 'cannot tell' }, { hours: 10, continues: 'a', grade: 'reject' }, { hours: 30, continues: 'b', grade: 'reject' },
      { hours: 3, grade: 'reject' },
    ]
    expect(await lives(runs)).toEqual([
      ['one', 'd', 3, true, 'a fault at 3 h'], ['one', 'c', 20, true, 'a fault at 30 h'], ['one', 'b', 10, true, 'a fault at 10 h'],
    ])
    const { shown } = await earlyFailuresOf(await record(runs), unit)
    expect(shown).toMatchObject({ units: 3, failures: 3, hours: 33 })
  })
  it('lose none where a run that went on has no result', async () => {
    expect(await lives([{ hours: 10, grade: 'cannot tell' }, { hours: null, continues: 'a' }, { hours: 16, continues: 'b' }]))
      .toEqual([['one', 'c', 16, false, '']])
  })
  it('are kept apart by specimen, the newest first, and leave out what never counted', async () => {
    expect(await lives([{ hours: 10 }, { specimen: 'two', hours: 7, grade: 'reject' }, { specimen: 'three', hours: 0, grade: 'reject' }, { hours: 2 }]))
      .toEqual([['one', 'd', 12, false, ''], ['two', 'b', 7, true, 'a fault at 7 h']])
  })
  it('are those on record: what a person gave as counted already is not', async () => {
    expect(await lives([{ hours: 10, parameters: { alreadyCountedS: 4 * hour } }])).toEqual([['one', 'a', 6, false, '']])
  })
  it('put a failure that came before any time counted at the hours of the runs before', async () => {
    expect(await lives([{ hours: 10 }, { hours: 0, grade: 'reject' }])).toEqual([['one', 'b', 10, true, 'a fault at 0 h']])
  })
})
