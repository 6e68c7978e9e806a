import { describe, expect, it } from 'vitest'
import { touchLines } from '../../src/report/touch-lines.ts'
import type { RunEvent, RunRecord } from '../../src/schema/run.ts'

const run = (positions: readonly string[], state: RunRecord['state'] = 'done'): RunRecord => ({
  id: 'r', sequence: 'reform', bench: 'b', state, startedWallMs: 0, endedWallMs: 1, person: 'K. Marsh', use: 'unattended',
  software: 's', setup: { request: { parts: positions.map(position => ({ position, part: position, profile: 'al' })) } },
})
const touch = (position: string | undefined, text: string, kind = 'touch'): RunEvent =>
  ({ kind, severity: 'info', atMs: 0, wallMs: 0, text, ...position !== undefined && { position } })
const measured = (name: string): RunEvent => touch(name, `${name} measured below 60 V at 02:14 UTC; prove dead before touching`)

describe('what may be touched at the end', () => {
  it('tells each part that was loaded: unmeasured where nothing was said of it', () => {
    expect(touchLines(run(['P01', 'P02']), [measured('P02')])).toEqual([
      'P01 NOT SAFE TO TOUCH: UNMEASURED (nothing was said of it in this run)',
      'P02 measured below 60 V at 02:14 UTC; prove dead before touching',
    ])
  })

  it('goes by the last word, tells what may not be touched first, and weaker words apart', () => {
    const events = [
      measured('P01'), touch('P01', 'P01 NOT SAFE TO TOUCH: 63.0 V'), measured('P03'), measured('P04'),
      touch('P02', 'P02 read below 60 V at 02:14 UTC by a path that showed no charge; prove dead before touching'),
      touch('P05', 'P05 was never on the bus, and reads below 60 V on its bleeder; prove dead before touching', 'kept-off'),
    ]
    expect(touchLines(run(['P01', 'P02', 'P03', 'P04', 'P05']), events)).toEqual([
      'P01 NOT SAFE TO TOUCH: 63.0 V',
      'P05 was never on the bus, and reads below 60 V on its bleeder; prove dead before touching',
      'P02 read below 60 V at 02:14 UTC by a path that showed no charge; prove dead before touching',
      'P03 P04 measured below 60 V at 02:14 UTC; prove dead before touching',
    ])
  })

  it('tells a part that an earlier half of the run dropped, by what was said then', () => {
    const left = (position: string, at: object | null) => ({ position, part: position, why: 'it shorts', run: 'r0', result: null, touch: at })
    const leftOut = [left('P01', { text: measured('P01').text, wallMs: 5 }), left('P02', null)]
    const halves = { ...run(['P03']), setup: { ...run(['P03']).setup, leftOut } }
    expect(touchLines(halves, [measured('P03')])).toEqual([
      'P02 NOT SAFE TO TOUCH: UNMEASURED (nothing was said of it in this run)',
      'P01 measured below 60 V at 02:14 UTC; prove dead before touching (said in run r0)',
      'P03 measured below 60 V at 02:14 UTC; prove dead before touching',
    ])
  })

  it('says of what lies in the jig that it may be charged, until it was emptied or a person looked', () => {
    const session = { ...run([], 'stopped'), setup: {} }
    const charged = touch(undefined, 'what lies in the jig may be charged to 20.0 V', 'charged')
    expect(touchLines(session, [charged])).toEqual(['NOT SAFE TO TOUCH: what lies in the jig may be charged to 20.0 V'])
    for (const kind of ['emptied', 'acknowledged']) expect(touchLines(session, [charged, touch(undefined, 'x', kind)])).toEqual([])
  })

  it('says nothing of parts that a refused run never energised, nor of a run without positions', () => {
    expect(touchLines(run(['P01'], 'refused'), [])).toEqual([])
    expect(touchLines({ ...run([]), setup: {} }, [])).toEqual([])
  })

  it('tells what concerns all of them', () => {
    expect(touchLines(run([]), [touch(undefined, 'NOT SAFE TO TOUCH: UNMEASURED (no reading)')]))
      .toEqual(['NOT SAFE TO TOUCH: UNMEASURED (no reading)'])
  })

  it('says of a unit the last word alone, and that nothing is known where mains came after it', () => {
    const unit = { ...run([]), sequence: 'first-power', state: 'interrupted' } as RunRecord
    const event = (kind: string, text: string): RunEvent => ({ kind, severity: 'info', atMs: 0, wallMs: 0, text })
    const [on, dead] = [event('energise', 'mains closes'), event('touch', 'every rail measured below 60 V at 02:14')]
    expect(touchLines(unit, [on, dead, on])).toEqual(['unit NOT SAFE TO TOUCH: UNMEASURED (nothing was said of it in this run)'])
    expect(touchLines(unit, [on, dead, on, { ...dead, text: 'plus NOT SAFE TO TOUCH (71.2 V)' }])).toEqual(['plus NOT SAFE TO TOUCH (71.2 V)'])
    expect(touchLines({ ...unit, state: 'refused' }, [])).toEqual([])
  })
})
