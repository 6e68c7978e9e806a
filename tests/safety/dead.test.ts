import { describe, expect, it } from 'vitest'
import { judgeDead } from '../../src/safety/dead.ts'

const base = { knownV: 450, nowV: 0.2, uV: 0.1, returnedC: 0.02, expectedC: 0.021, touchSafeV: 60, atWallMs: Date.UTC(2026, 0, 1, 2, 14) }

describe('proof of dead', () => {
  it('says dead when the path has read the charge and the charge came back', () => {
    expect(judgeDead(base)).toMatchObject({ verdict: 'dead', text: 'measured below 60 V at 02:14 UTC; prove dead before touching' })
  })
  it('does not believe a zero when too little charge came back', () => {
    expect(judgeDead({ ...base, returnedC: 0.005 })).toMatchObject({ verdict: 'unmeasured' })
  })
  it('does not believe a zero when the charge was not measured', () => {
    expect(judgeDead({ ...base, returnedC: null }).text).toContain('NOT SAFE TO TOUCH: UNMEASURED')
  })
  it('calls a part live at the touch-safe voltage itself, uncertainty included', () => {
    expect(judgeDead({ ...base, nowV: 59.8 })).toMatchObject({ verdict: 'live' })
    expect(judgeDead({ ...base, nowV: -75 })).toMatchObject({ verdict: 'live' })
  })
  it('says unmeasured when the reading is not good', () => {
    expect(judgeDead({ ...base, nowV: null })).toMatchObject({ verdict: 'unmeasured' })
    expect(judgeDead({ ...base, nowV: NaN })).toMatchObject({ verdict: 'unmeasured' })
  })
})
