/** Finding how much an output gives, with as little signal as shows it. */
import { describe, expect, it } from 'vitest'
import { burning, expectWithheld, tone } from './burning.ts'

/** Of the stand: volts at the terminals for one at the digitizer. */
const divider = 20

describe('the gain of an output', () => {
  it('is not sought any louder once a record clips', async () => {
    const digitizerMostV = 0.02
    const run = await burning({ set: sim => { sim.slow.digitizerMostV = digitizerMostV } })
    const { state, latched, sim, result } = run
    expect(state).toBe('tripped')
    expect(latched!.text).toMatch(/output of left .* more than the digitizer holds/)
    const peaksV = sim.letOutV.map(levelV => Math.SQRT2 * sim.slow.gain * levelV / divider)
    // All but the last were held, and the last was not.
    expect(peaksV.findIndex(peakV => peakV >= digitizerMostV)).toBe(peaksV.length - 1)
    expect(Math.max(...sim.letOutV)).toBe(sim.letOutV.at(-1))
    expect(result).toMatchObject({ grade: 'cannot tell' })
    await expectWithheld(run)
  })

  it('is not sought on where one frequency gives more than the digitizer holds', async () => {
    const run = await burning({
      parameters: { programme: [tone(1), { kind: 'tone', forS: 3600, frequencyHz: 5000 }] },
      set: (sim, s) => {
        sim.slow.digitizerMostV = 0.5
        const generator = s.handles.power.roles.generator!
        const { setTones } = generator
        Object.assign(generator, {
          setTones: async (...[channel, tones]: Parameters<typeof setTones>) => {
            sim.slow.gain = tones[0]!.frequencyHz < 3000 ? 1000 : 28
            await setTones(channel, tones)
          },
        })
      },
    })
    expect(run.latched!.text).toMatch(/output of left .* more than the digitizer holds/)
    expect(run.result).toMatchObject({ grade: 'cannot tell' })
    await expectWithheld(run)
  })
})
