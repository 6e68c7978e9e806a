import { PassThrough } from 'node:stream'
import { describe, expect, it } from 'vitest'
import { DemoScreen, finalLines } from '../../src/cli/demo-screen.ts'
import type { RunRecord } from '../../src/schema/run.ts'
import type { StoredEvent } from '../../src/schema/store.ts'

const event = (given: Partial<StoredEvent> & Pick<StoredEvent, 'kind' | 'text'>): StoredEvent =>
  ({ severity: 'info', atMs: 0, wallMs: 0, seq: 0, hash: '', ...given })
const touch = (position: string, verdict: string, text: string, from = 'faultToTouchSafeMs'): StoredEvent =>
  event({ kind: 'touch', position, text: `${position} ${text}`, data: { verdict, [from]: 1800 } })

const drop = event({
  kind: 'drop', position: 'P01', text: 'P01 off the bus', data: { faultToDisconnectedMs: 10 },
})
const dead = touch('P01', 'dead', 'measured below 60 V at 20:27 UTC; prove dead before touching')

function shown(...events: readonly StoredEvent[]): string[] {
  const out = new PassThrough()
  const screen = new DemoScreen(out, false)
  for (const each of events) screen.event(each)
  return String(out.read()).trimEnd().split('\n')
}

describe('the screen of the demo', () => {
  it('tells a drop with its time to disconnected, and that part with its time to touch-safe', () => {
    const [first, second] = shown(drop, dead)
    expect(first).toMatch(/\[fault to disconnected 10\.0 ms\]$/)
    expect(second).toMatch(/\[fault to touch-safe 1\.8 s\]$/)
  })

  it('tells no fault of a part that was released as planned', () => {
    expect(shown(touch('P01', 'dead', 'measured below 60 V', 'releaseToTouchSafeMs'))[0]).toMatch(/\[release to touch-safe 1\.8 s\]$/)
  })

  it('tells no time to touch-safe of a part that is not safe to touch', () => {
    const lines = shown(drop, touch('P01', 'unmeasured', 'NOT SAFE TO TOUCH: UNMEASURED'))
    expect(lines[1]).toMatch(/NOT SAFE TO TOUCH: UNMEASURED$/)
  })

  it('tells a trip with the time until the bench had read back as off', () => {
    const trip = event({ kind: 'trip', severity: 'trip', text: 'bench off: cover', data: { faultToDisconnectedMs: 350 } })
    expect(shown(trip)[0]).toMatch(/bench off: cover \[fault to disconnected, read back 350 ms\]$/)
  })

  it('tells both times of a part that the bridge kept off the bus, from what was found', () => {
    const [found, low] = shown(
      event({ kind: 'condemned', position: 'P08', text: 'P08: gross ESR', data: { findingToDisconnectedMs: 20 } }),
      event({ kind: 'kept-off', position: 'P08', text: 'P08 was never on the bus', data: { findingToTouchSafeMs: 1400 } }))
    expect(found).toMatch(/P08: gross ESR \[finding to disconnected 20\.0 ms\]$/)
    expect(low).toMatch(/\[finding to touch-safe 1\.4 s\]$/)
  })

  it('ends with what may not be touched, by the last look at each part', () => {
    const lines = finalLines({
      run: { id: 'R', state: 'done', startedWallMs: 0, endedWallMs: 1, setup: {} } as unknown as RunRecord, results: [], truth: [],
      records: new Map(), wallS: 1, events: [
        touch('P04', 'dead', 'measured below 60 V'), dead,
        touch('P04', 'unmeasured', 'NOT SAFE TO TOUCH: UNMEASURED'),
      ],
    })
    expect(lines).toContain('P04 NOT SAFE TO TOUCH: UNMEASURED')
    expect(lines).toContain('P01 measured below 60 V at 20:27 UTC; prove dead before touching')
  })
})
