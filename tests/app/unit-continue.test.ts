/** A burn-in that goes on more than once keeps its programme and its time. */
import { describe, expect, it } from 'vitest'
import { continuedBurnIn } from '../../src/app/unit-continue.ts'
import { poweringRequest, type PoweringRequest } from '../../src/schema/powering.ts'
import type { Grade, RunState } from '../../src/schema/run.ts'
import type { Store } from '../../src/schema/store.ts'
import { openInlineStore } from '../../src/store/inline.ts'

const programme = [{ kind: 'tone', forS: 1500, powerShare: 0.05 }, { kind: 'idle', forS: 600 }]
const asked = (over: Partial<Record<keyof PoweringRequest, unknown>> = {}): PoweringRequest => poweringRequest.parse({
  sequence: 'burn-in', unit: 'saltmarsh-pavilion-amplifier', specimen: 'pavilion-1', person: 'Ida', use: 'unattended',
  unpowered: { by: 'Ida', fuse: 'T 2 A', mainsPartsProven: true, railsNotShorted: true }, ...over,
})
/** `toldS`: time that it told; null where it was killed before it told any. */
async function ran(store: Store, id: string, wallMs: number, request: PoweringRequest, toldS: number | null, state: RunState = 'stopped', grade?: Grade) {
  await store.createRun({
    id, sequence: 'burn-in', bench: 'unit-stand', state: 'running', startedWallMs: wallMs, endedWallMs: null,
    person: 'Ida', use: 'unattended', software: 'test', setup: { request },
  }, [])
  if (toldS !== null) {
    await store.appendEvent(id, {
      kind: 'counted', severity: 'info', text: 'counted', data: { countedS: toldS }, atMs: wallMs, wallMs,
    })
  }
  if (grade) {
    await store.saveResult(id, {
      position: 'unit', part: 'pavilion-1', profile: 'saltmarsh-pavilion-amplifier', grade, provisional: false, disposition: 'replace', pConform: 0,
      reason: 'heat', criteria: [], figures: {},
    })
  }
  await store.finishRun(id, state, wallMs + 1)
}

describe('a burn-in that went on, and goes on again', () => {
  it('has the programme of the run that began it, and the time of the last', async () => {
    const store = openInlineStore(':memory:')
    await ran(store, 'one', 1, asked({ parameters: { programme } }), 100)
    await ran(store, 'two', 2, asked({ continues: 'one' }), 130)
    await ran(store, 'three', 3, asked({ continues: 'two' }), 160, 'tripped')
    const found = await continuedBurnIn(store, asked({ continues: 'three' }))
    expect(found!.parameters).toEqual({ programme, alreadyCountedS: 160, failedAtS: 0 })
  })

  it('loses nothing of the time before where a run was killed before it told any', async () => {
    const store = openInlineStore(':memory:')
    await ran(store, 'one', 1, asked({ parameters: { programme } }), 700)
    await ran(store, 'two', 2, asked({ continues: 'one' }), null, 'interrupted')
    const found = await continuedBurnIn(store, asked({ continues: 'two' }))
    expect(found!.parameters).toEqual({ programme, alreadyCountedS: 700, failedAtS: 0 })
  })

  it('counts anew from where the unit failed by itself, however often it goes on after', async () => {
    const store = openInlineStore(':memory:')
    await ran(store, 'one', 1, asked({ parameters: { programme } }), 100)
    await ran(store, 'two', 2, asked({ continues: 'one' }), 130, 'tripped', 'reject')
    const again = await continuedBurnIn(store, asked({ continues: 'two' }))
    expect(again!.parameters).toEqual({ programme, alreadyCountedS: 130, failedAtS: 130 })
    await ran(store, 'three', 3, asked({ continues: 'two', parameters: again!.parameters }), 160)
    expect((await continuedBurnIn(store, asked({ continues: 'three' })))!.parameters).toEqual({ programme, alreadyCountedS: 160, failedAtS: 130 })
  })
  it.each(['alreadyCountedS', 'failedAtS'])('takes no %s by hand', async name => {
    await expect(continuedBurnIn(openInlineStore(':memory:'), asked({ parameters: { [name]: 0 } }))).rejects.toThrow('taken from the record')
  })
})
