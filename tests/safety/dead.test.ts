import { describe, expect, it } from 'vitest'
import { judgeDead, leftByWatch, whyUnseen } from '../../src/safety/dead.ts'

const base = { knownV: 450, nowV: 0.2, uV: 0.1, returnedC: 0.02, expectedC: 0.021, touchSafeV: 60, atWallMs: Date.UTC(2026, 0, 1, 2, 14) }

describe('proof of dead', () => {
  it('says dead when the path has read the charge and the charge came back', () => {
    expect(judgeDead(base)).toMatchObject({ verdict: 'dead', text: 'measured below 60 V at 02:14 UTC; prove dead before touching' })
  })
  it('calls nothing measured by a path that showed nothing but zero', () => {
    const empty = { ...base, returnedC: 0, expectedC: 0 }
    for (const knownV of [null, 0.4, -0.1]) {
      expect(judgeDead({ ...empty, knownV })).toMatchObject({
        verdict: 'dead', text: 'read below 60 V at 02:14 UTC by a path that showed no charge; prove dead before touching',
      })
    }
    expect(judgeDead({ ...empty, knownV: 12 }).text).toMatch(/^measured below 60 V/)
    expect(judgeDead({ ...empty, knownV: 12, uV: 6 }).text, 'a coarse meter').toMatch(/^read below 60 V/)
    expect(judgeDead({ ...empty, knownV: 0.4, seenV: 450 }).text, 'it showed one before').toMatch(/^measured below/)
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
  it('asks for charge of a part that was on the bus and told nothing, and of one that never was for a reading alone', () => {
    const untold = { ...base, returnedC: null, expectedC: null }
    expect(judgeDead({ ...untold, knownV: Infinity })).toMatchObject({ verdict: 'unmeasured' })
    expect(judgeDead({ ...untold, knownV: null })).toMatchObject({ verdict: 'dead' })
    expect(judgeDead({ ...untold, knownV: null, nowV: 60 })).toMatchObject({ verdict: 'live' })
    expect(judgeDead({ ...untold, knownV: null, nowV: null })).toMatchObject({ verdict: 'unmeasured' })
  })
  it('does not believe a path that opened below touch-safe where absorption may bring the rest above it', () => {
    // 15 % of 450 V are more than touch-safe by themselves, of 200 V they are 30 V.
    expect(judgeDead({ ...base, brokeAtV: 5 })).toMatchObject({ verdict: 'unmeasured' })
    expect(judgeDead({ ...base, knownV: 200, brokeAtV: 29 })).toMatchObject({ verdict: 'dead' })
    expect(judgeDead({ ...base, knownV: 200, brokeAtV: 30 })).toMatchObject({ verdict: 'unmeasured' })
    expect(judgeDead({ ...base, knownV: 20, seenV: 200, brokeAtV: 30 })).toMatchObject({ verdict: 'unmeasured' })
    expect(judgeDead({ ...base, brokeAtV: 0 })).toMatchObject({ verdict: 'dead' })
  })
  it('says unmeasured when the reading is not good', () => {
    expect(judgeDead({ ...base, nowV: null })).toMatchObject({ verdict: 'unmeasured' })
    expect(judgeDead({ ...base, nowV: NaN })).toMatchObject({ verdict: 'unmeasured' })
  })
})

describe('what a part stands at when its recovery watch ends', () => {
  const tauMs = 400_000
  const looks = (...volts: number[]) => volts.map((v, i) => ({ volts: v, atMs: 30_000 * i }))

  it('is what was seen last, less what may have left since', () => {
    expect(leftByWatch(looks(1, 3, 5, 6), tauMs, 90_000, 0.5)).toEqual({ volts: 6, opened: false })
    expect(leftByWatch(looks(1, 3, 5, 6), tauMs, 90_000 + tauMs, 0.5).volts).toBeCloseTo(6 / Math.E, 9)
  })
  it('is what was seen before the path opened', () => {
    expect(leftByWatch(looks(1, 3, 5, 0), tauMs, 90_000, 0.5)).toEqual({ volts: 5, opened: true })
    expect(leftByWatch(looks(1, 5, 0, 0, 0), tauMs, 120_000, 0.5)).toEqual({ volts: 5, opened: true })
    // Few volts show it as well: what absorption brings after that nobody sees.
    expect(leftByWatch(looks(1, 2.5, 0), tauMs, 60_000, 0.5)).toEqual({ volts: 2.5, opened: true })
    // A contact that comes and goes.
    expect(leftByWatch(looks(1, 5, 0, 6), tauMs, 90_000, 0.5)).toEqual({ volts: 5, opened: true })
  })
  it('takes neither a slow fall, nor noise, nor next to nothing for a path that opened', () => {
    expect(leftByWatch(looks(8, 7.4, 6.9, 6.4), tauMs, 90_000, 0.5)).toEqual({ volts: 6.4, opened: false })
    expect(leftByWatch([{ volts: 5, atMs: 0 }, { volts: 4.9, atMs: 100 }], tauMs, 100, 0.5)).toEqual({ volts: 4.9, opened: false })
    expect(leftByWatch(looks(0.4, 0.01), tauMs, 30_000, 0.5)).toEqual({ volts: 0.01, opened: false })
    // Through a small part's path all may be gone by the next reading.
    expect(leftByWatch(looks(5, 0.1), 10_000, 30_000, 0.5)).toEqual({ volts: 0.1, opened: false })
  })
  it('is nothing where nothing was seen', () => { expect(leftByWatch([], tauMs, 0, 0.5)).toEqual({ volts: 0, opened: false }) })
})

describe('a recovery watch that shows nothing', () => {
  const looks = (...volts: number[]) => volts.map((v, i) => ({ volts: v, atMs: 2500 * i }))

  it('is one in which nothing came back of a part that must bring something back', () => {
    expect(whyUnseen(looks(0.01, 0, 0.02, 0.01, 0), 450, 0.1)).toBe('nothing came back: its bleeder may be open')
  })

  it('is one in which the reading stands still: absorption rises all the time', () => {
    expect(whyUnseen(looks(0.63, 0.63, 0.63, 0.63, 0.63), 450, 0.1)).toBe('its reading stood still while its recovery was watched')
    expect(whyUnseen(looks(0.63, 0.63, 0.63, 0.63), 450, 0.1)).toBeNull()
  })

  it('is not one in which volts rise, nor one of a part or a meter that cannot show it', () => {
    expect(whyUnseen(looks(0.2, 0.5, 0.63, 0.7, 0.7), 450, 0.1)).toBeNull()
    expect(whyUnseen(looks(0, 0, 0, 0, 0), 19, 0.01)).toBeNull()
    expect(whyUnseen(looks(0, 0, 0, 0, 0), 450, 0.5)).toBeNull()
  })
})
