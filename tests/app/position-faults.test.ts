import { describe, expect, it } from 'vitest'
import { positionFaults } from '../../src/app/position-faults.ts'
import { openInlineStore } from '../../src/store/inline.ts'

type Said = readonly [kind: 'check' | 'check-failed', position: string | undefined, check: string, more?: { volts?: number; isMade?: boolean }]

/** A record of bench-checks, oldest first: what each said. */
async function faultsAfter(...runs: { bench?: string; sequence?: string; said: readonly Said[] }[]): Promise<Record<string, string>> {
  const store = openInlineStore(':memory:')
  for (const [i, { bench = 'pavilion', sequence = 'bench-check', said }] of runs.entries()) {
    const id = `check-${i + 1}`
    await store.createRun({
      id, sequence, bench, state: 'running', startedWallMs: 1000 * i, endedWallMs: null, person: 'K. Marsh', use: 'unattended',
      software: 's', setup: {},
    }, [])
    for (const [kind, position, check, more] of said) {
      await store.appendEvent(id, {
        kind, severity: 'info', atMs: 0, wallMs: 1000 * i, text: `${position} ${check}`, data: { check, ...more },
        ...position === undefined ? {} : { position },
      })
    }
  }
  const found = await positionFaults(store, 'pavilion')
  await store.close()
  return Object.fromEntries(found)
}
const failed = (position: string | undefined, check = 'relay and bleeder'): Said => ['check-failed', position, check]
const passed = (position: string, check = 'relay and bleeder'): Said => ['check', position, check]

describe('what bench-check found wrong at positions', () => {
  it('is nothing without a bench-check, and what the newest said of each check', async () => {
    expect(await faultsAfter()).toEqual({})
    expect(await faultsAfter({ said: [failed('P02'), passed('P01')] }))
      .toEqual({ P02: 'bench-check check-1 found P02 relay and bleeder' })
    expect(await faultsAfter({ said: [failed('P02')] }, { said: [passed('P02')] })).toEqual({})
    expect(await faultsAfter({ said: [passed('P02')] }, { said: [failed('P02')] }))
      .toEqual({ P02: 'bench-check check-2 found P02 relay and bleeder' })
  })

  it('stands while the same check was not made again there, whatever else passed', async () => {
    const stands = { P02: 'bench-check check-1 found P02 relay and bleeder' }
    expect(await faultsAfter({ said: [failed('P02')] }, { said: [passed('P01'), passed('P02', 'relay opens')] })).toEqual(stands)
    expect(await faultsAfter({ said: [failed('P02')] }, { said: [passed('P02')], bench: 'other' })).toEqual(stands)
    expect(await faultsAfter({ said: [failed('P02')] }, { said: [passed('P02')], sequence: 'reform' })).toEqual(stands)
  })

  it('stands over any number of later ones that did not make that check', async () => {
    const others = Array.from({ length: 25 }, () => ({ said: [passed('P01')] }))
    expect(await faultsAfter({ said: [failed('P02')] }, ...others)).toEqual({ P02: 'bench-check check-1 found P02 relay and bleeder' })
  })

  it('passes at no fewer volts than it failed at', async () => {
    const at = (kind: Said[0], volts: number): { said: Said[] } => ({ said: [[kind, 'P02', 'insulation at voltage', { volts }]] })
    const stands = { P02: 'bench-check check-1 found P02 insulation at voltage' }
    expect(await faultsAfter(at('check-failed', 400), at('check', 100))).toEqual(stands)
    expect(await faultsAfter(at('check-failed', 400), at('check', 400), at('check', 100))).toEqual({})
    expect(await faultsAfter(at('check', 400), at('check-failed', 100)))
      .toEqual({ P02: 'bench-check check-2 found P02 insulation at voltage' })
  })

  it('is decided by the last that one run said of a check', async () => {
    expect(await faultsAfter({ said: [failed('P02'), passed('P02')] })).toEqual({})
    expect(await faultsAfter({ said: [passed('P02'), failed('P02')] })).toHaveProperty('P02')
  })

  it('is nothing that could not be made', async () => {
    expect(await faultsAfter({ said: [['check-failed', 'P02', 'bridge relay', { isMade: false }]] })).toEqual({})
    expect(await faultsAfter({ said: [failed('P02')] }, { said: [['check', 'P02', 'relay and bleeder', { isMade: false }]] }))
      .toHaveProperty('P02')
  })

  it('is not what is wrong with the bench as a whole', async () => {
    expect(await faultsAfter({ said: [failed(undefined, 'cutoff opens')] })).toEqual({})
  })
})
