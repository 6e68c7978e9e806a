import { describe, expect, it } from 'vitest'
import { unsettled } from '../../src/app/unsettled.ts'
import type { RunEvent, RunRecord } from '../../src/schema/run.ts'
import type { Store } from '../../src/schema/store.ts'

const event = (kind: string, position?: string, text = ''): RunEvent =>
  ({ kind, severity: 'info', atMs: 0, wallMs: 0, text: position === undefined ? text : `${position} ${text}`, ...position !== undefined && { position } })
const touch = (position: string, text: string): RunEvent => event('touch', position, text)
const [lost, measured, read] = [
  'NOT SAFE TO TOUCH: UNMEASURED (contact lost)', 'measured below 60 V at 02:14 UTC; prove dead before touching',
  'read below 60 V at 02:14 UTC by a path that showed no charge; prove dead before touching',
]

/** Newest first: positions that were loaded, and what happened. */
async function open(...runs: [positions: string[], events: RunEvent[], over?: Partial<RunRecord>][]) {
  const records = runs.map(([positions, , over], i): RunRecord => ({
    id: `R${runs.length - i}`, sequence: 'reform', bench: 'b', state: 'done', startedWallMs: 0, endedWallMs: 1, person: 'Ida', use: 'unattended', software: 's',
    setup: { request: { parts: positions.map(position => ({ position, part: `C-${position}`, profile: 'al' })) } }, ...over,
  }))
  const store = {
    listRuns: async () => records, run: async (id: string) => records.find(one => one.id === id),
    events: async (id: string) => runs[records.findIndex(one => one.id === id)]![1],
  } as unknown as Store
  return (await unsettled(store, 'b', ['P01', 'P02'])).map(({ run, position }) => `${run} ${position}`)
}

describe('what is not known to be safe to touch', () => {
  it('is what the last run left unmeasured, or said nothing of', async () => {
    expect(await open([['P01', 'P02'], [touch('P02', lost)]])).toEqual(['R1 P01', 'R1 P02'])
    expect(await open([['P01'], [touch('P01', lost), touch('P01', measured)]])).toEqual([])
    expect(await open([['P01'], [], { state: 'refused' }])).toEqual([])
  })

  it('stays so until a later run measures it: not by one of other parts, nor by a path that showed no charge', async () => {
    const first: [string[], RunEvent[]] = [['P01'], [touch('P01', lost)]]
    expect(await open([['P02'], [touch('P02', measured)]], first)).toEqual(['R1 P01'])
    expect(await open([['P01'], [touch('P01', read)]], first)).toEqual(['R1 P01'])
    expect(await open([['P01'], [event('kept-off', 'P01', 'was never on the bus, and reads below 60 V on its bleeder')]], first)).toEqual(['R1 P01'])
    expect(await open([['P01'], [touch('P01', measured)]], first)).toEqual([])
    expect(await open([['P01'], [touch('P01', measured)], { bench: 'another' }], first)).toEqual(['R1 P01'])
  })

  it('is settled by a person who acknowledged, whatever was said before', async () => {
    expect(await open([['P01'], [touch('P01', lost), event('acknowledged')]])).toEqual([])
    expect(await open([['P02'], [touch('P02', lost), event('acknowledged')]], [['P01'], [touch('P01', lost)]])).toEqual([])
    expect(await open([['P01'], [event('acknowledged'), touch('P01', lost)]])).toEqual(['R1 P01'])
  })
})
