import { describe, expect, it } from 'vitest'
import { BenchError } from '../../src/base/errors.ts'
import { unitFindingsShape } from '../../src/api/unit-shapes.ts'
import { burnInParameters } from '../../src/burn-in/parameters.ts'
import { ratedV } from '../../src/burn-in/gains.ts'
import { unitFindings } from '../../src/schema/unit-findings.ts'
import { burning, hour, texts, tone } from './burning.ts'
import { profile } from '../powering/fake-stand.ts'
import { warmStand } from './warm-stand.ts'

describe('a burn-in of a sound amplifier', () => {
  it('counts its hours at its level and ends off, dead and judged', async () => {
    const { state, result, isDead, sim, burnIn, events } = await burning()
    expect([state, result?.grade, isDead, sim.isOn]).toEqual(['done', 'accept', true, false])
    expect(burnIn!.countedS / hour).toBeCloseTo(4, 2)
    expect(burnIn!.switchings).toBe(1)
    expect(burnIn!.warmth[0]).toMatchObject({ place: 'heatsink', isSteady: true })
    expect(burnIn!.warmth[0]).toHaveProperty('remainingU')
    // Nothing of it is lost on the way to the record, nor to who asks for it.
    expect(unitFindings.parse(result!.unit)).toEqual(result!.unit)
    expect(unitFindingsShape.parse(result!.unit)).toEqual(result!.unit)
    expect(Math.abs(burnIn!.warmth[0]!.celsius - sim.celsius)).toBeLessThan(1)
    expect(burnIn!.says).toMatch(/4 h .* one in 1\.3[34] h with 95 %.*does not show/)
    // A look at rest is no time under drive.
    expect(burnIn!.lost.map(({ why }) => why)).toEqual(['a look at rest'])
    expect(texts(events, 'spot').length).toBeGreaterThanOrEqual(4)
    expect(texts(events, 'inrush')).toHaveLength(1)
  })

  it('drives at the share of its rated power that was asked for', async () => {
    const { spec } = { spec: profile().channels[0]! }
    let seenV = 0
    await burning({
      parameters: { programme: [{ kind: 'tone', forS: 1200, powerShare: 0.3 }] },
      set: sim => { sim.clock.after(900_000, () => { seenV = sim.outputV() }) },
    })
    expect(seenV / (Math.sqrt(0.3) * ratedV(spec))).toBeCloseTo(1, 3)
  })

  it.each([1, 2, 3, 4])('says how far each quantity went, within its uncertainty (seed %i)', async seed => {
    const perHour = 0.5e-3
    const gainPerH = -0.001
    const { burnIn, sim } = await burning({
      seed, parameters: { programme: [tone(10)], restEveryS: 4 * hour }, set: sim => {
        sim.slow.dcVPerH = perHour
        sim.slow.thd = 0.002
        const turn = (): void => { sim.slow.gain += gainPerH * 28 / 60; sim.slow.thd += 0.0005 / 60; sim.clock.after(60_000, turn) }
        turn()
      },
    })
    const of = (name: string) => burnIn!.drifts.find(one => one.of === name)!
    const held = (name: string, perH: number): void => {
      const { change, u, hours } = of(name)
      expect(hours).toBeGreaterThan(5)
      expect(Math.abs(change - perH * hours), `${name} ${change} ${u} ${perH * hours}`).toBeLessThan(2.6 * u)
    }
    held('left.dc', perHour)
    held('left.gain', gainPerH * 28)
    held('left.thd', 0.0005)
    // The heat falls by 0.1 K with the gain.
    for (const name of ['rail.plus', 'rail.minus', 'mains.power', 'warm.heatsink']) expect(Math.abs(of(name).change), name).toBeLessThan(2.6 * of(name).u)
    // What is small against its uncertainty is not shown, what is large is.
    expect(Math.abs(of('left.gain').change)).toBeGreaterThan(5 * of('left.gain').u)
    expect(sim.isOn).toBe(false)
  })

  it('goes on where an earlier run stood, and asks nothing of time that counted then', async () => {
    const { burnIn, sim, events } = await burning({
      parameters: { programme: [tone(4), { kind: 'idle', forS: hour }], alreadyCountedS: 3.5 * hour },
    })
    expect(burnIn!.countedS / hour).toBeCloseTo(5, 2)
    expect(burnIn!.wallS / hour).toBeLessThan(1.6)
    expect(texts(events, 'phase').map(text => text.slice(0, 12))).toEqual(['phase 1 of 2', 'phase 2 of 2'])
    expect(sim.isOn).toBe(false)
  })

  it('claims no hours before a failure of its own', async () => {
    const { burnIn } = await burning({ parameters: { programme: [tone(4)], alreadyCountedS: 3 * hour, failedAtS: 2.5 * hour } })
    expect(burnIn!.countedS / hour).toBeCloseTo(4, 2)
    expect(burnIn!.says).toMatch(/failed after 2\.5 h of this burn-in.* 1\.5 h .*one in 0\.50\d? h/)
  })

  it('switches on and off by its programme, muted whenever the mains moves', async () => {
    const cycles = { kind: 'cycles', forS: 2 * hour, onS: 600, offS: 120 }
    const { burnIn, sim, result, state } = await burning({ parameters: { programme: [cycles] } })
    expect([state, result?.grade]).toEqual(['done', 'accept'])
    expect(burnIn!.switchings).toBe(10 + 1)
    let isDriven = false
    for (const { what } of sim.acts) {
      if (what === 'drive') isDriven = true
      if (what === 'mute') isDriven = false
      if (what === 'open') expect(isDriven).toBe(false)
    }
    const lost = burnIn!.lost.reduce((sum, { seconds }) => sum + seconds, 0)
    expect(lost).toBeLessThan(10 * 30)
  })

  it('plays noise and music whose mean power is what was asked for', async () => {
    for (const kind of ['noise', 'music'] as const) {
      const seen: number[] = []
      const { state } = await burning({
        parameters: { programme: [{ kind, forS: 2 * hour, powerShare: 0.125 }] }, set: sim => {
          const look = (): void => { if (sim.outputV() > 0) seen.push(sim.outputV() ** 2 / 8); sim.clock.after(500, look) }
          sim.clock.after(60_000, look)
        },
      })
      expect(state).toBe('done')
      const mean = seen.reduce((sum, w) => sum + w, 0) / seen.length
      expect(mean / (0.125 * 60), kind).toBeGreaterThan(0.9)
      expect(mean / (0.125 * 60), kind).toBeLessThan(1.1)
    }
  })

  it('runs where nothing hears the outputs or reads the air, and says what it did not look at', async () => {
    const stand = { ...warmStand, thermometers: warmStand.thermometers.slice(0, 1), outputs: [{ ...warmStand.outputs[0]!, digitizer: undefined }] }
    const { state, result, burnIn } = await burning({ stand, parameters: { programme: [tone(3)], gain: 28 } })
    expect(state).toBe('done')
    expect(result!.unit!.left).toHaveLength(2)
    expect(burnIn!.countedS / hour).toBeCloseTo(3, 2)
  })
})

describe('the time of a burn-in', () => {
  it('stands still while the mains sags, without a trip, and says why', async () => {
    let waits: string | null = null
    const { state, burnIn, events } = await burning({
      set: (sim, s) => {
        sim.clock.after(2 * hour * 1000, () => { sim.wrong.mainsV = 214 })
        sim.clock.after(2 * hour * 1000 + 60_000, () => { waits = s.handles.power.state.counted!.waits })
        sim.clock.after(2 * hour * 1000 + 120_000, () => { delete sim.wrong.mainsV })
      },
    })
    expect(state).toBe('done')
    expect(waits).toMatch(/mains are more than 6 % off 230 V/)
    const sag = burnIn!.lost.find(({ why }) => why.includes('mains'))!
    expect(sag.seconds).toBeGreaterThanOrEqual(119)
    expect(sag.seconds).toBeLessThan(125)
    expect(burnIn!.wallS - burnIn!.countedS).toBeGreaterThan(119)
    expect(texts(events, 'counting').some(text => text.includes('mains'))).toBe(true)
  })

  it('waits for a person, mains off, where a condition fails for long, and goes on with what was left', async () => {
    const sagMs = 2 * hour * 1000
    let onWhileWaiting = false
    const { state, burnIn, sim, events } = await burning({
      pauseMs: 1800_000, set: sim => {
        sim.clock.after(sagMs, () => { sim.wrong.mainsV = 214 })
        sim.clock.after(sagMs + 1000_000, () => { onWhileWaiting = sim.isOn; delete sim.wrong.mainsV })
      },
    })
    expect(state).toBe('done')
    expect(texts(events, 'paused')[0]).toMatch(/paused at .* the mains are more than 6 % off 230 V/)
    expect(texts(events, 'go-on')).toHaveLength(1)
    expect(onWhileWaiting).toBe(false)
    expect(burnIn!.switchings).toBe(2)
    expect(burnIn!.countedS / hour).toBeCloseTo(4, 2)
    expect(burnIn!.lost.find(({ why }) => why.includes('person'))!.seconds).toBeGreaterThan(1700)
    // Nothing came on by itself.
    const closed = sim.acts.filter(({ what }) => what.startsWith('close'))
    expect(closed[1]!.atMs).toBeGreaterThan(events.find(({ kind }) => kind === 'go-on')!.atMs)
  })

  it('never goes on where nobody comes', async () => {
    const { state, sim, result, latched } = await burning({
      pauseMs: 1e12, set: (sim, s) => {
        sim.clock.after(hour * 1000, () => { sim.wrong.mainsV = 214 })
        sim.clock.after(10 * hour * 1000, () => { void s.guard.safeOff('stopped'); s.handles.abort(new BenchError('STOPPED', 'a person')) })
      },
    })
    expect([state, latched?.text]).toEqual(['stopped', undefined])
    expect(sim.acts.filter(({ what }) => what.startsWith('close'))).toHaveLength(1)
    expect(result).toMatchObject({ grade: 'cannot tell' })
    expect(result!.unit!.burnIn!.countedS / hour).toBeCloseTo(1, 1)
  })

  it('keeps what counted where a person stops it', async () => {
    const { state, result, isDead, sim, events } = await burning({
      set: (sim, s) => { sim.clock.after(2 * hour * 1000, () => { void s.guard.safeOff('stopped'); s.handles.abort(new BenchError('STOPPED', 'a person')) }) },
    })
    expect([state, isDead, sim.isOn]).toEqual(['stopped', true, false])
    expect(result).toMatchObject({ grade: 'cannot tell' })
    expect(result!.reason).toMatch(/after 1\.9\d* h of burn-in: stopped/)
    const last = events.filter(({ kind }) => kind === 'counted').at(-1)!
    expect(Number(last.data!.countedS) / hour).toBeCloseTo(2, 1)
  })
})

describe('what a person writes of a burn-in', () => {
  it.each([
    [{ programme: [] }], [{ programme: [{ kind: 'tone', forS: 1 }] }], [{ programme: [{ kind: 'noise', forS: 60, lowHz: 100, highHz: 50 }] }],
    [{ programme: [{ kind: 'music', forS: 60, powerShare: 0.7 }] }], [{ programme: [{ kind: 'tone', forS: 60, powerShare: 1.1 }] }], [{ anything: 1 }],
  ])('is refused where it cannot be done: %j', given => {
    expect(burnInParameters.safeParse(given).success).toBe(false)
  })
  it('is a day of one eighth at 1 kHz where nothing is written', () => {
    expect(burnInParameters.parse({}).programme).toEqual([{ kind: 'tone', forS: 86_400, frequencyHz: 1000, powerShare: 0.125 }])
  })
})
