/** Units proven over real drivers, sessions and keeper on simulated instruments, held against what they really do. */
import { describe, expect, it } from 'vitest'
import { truthOf } from '../../benchmarks/truth-units/truths.ts'
import { proveOnStand, type Proof, type ProofEnd } from '../../nights/verify-stand.ts'
import type { FigureQuantity } from '../../src/schema/figure.ts'
import { drawn, pavilion } from './units.ts'

/** For a single case: the truth lies within three of its standard uncertainties. */
const coverage = 3

/** Figures that miss the truth, in words. */
function misses({ told, stand: { sim }, result }: ProofEnd): string[] {
  return told.flatMap(({ figure, celsius }) => {
    const truth = truthOf({ figure, celsius, sim, curves: result!.unit!.curves })
    const { value, u, bound, quantity, channel } = figure
    const isRight = truth === null || (bound === 'at least' ? truth >= value - coverage * u
      : bound === 'at most' ? truth <= value + coverage * u : Math.abs(value - truth) <= coverage * u)
    return isRight ? [] : [`${channel} ${quantity} ${bound ?? ''} ${value} ± ${u}, truly ${truth}`]
  })
}

const endOf = ({ result }: ProofEnd, quantity: FigureQuantity): string[] =>
  result!.unit!.claims.filter(({ claim }) => claim.quantity === quantity).map(({ end }) => end)
const soundly = (end: ProofEnd): void => {
  expect([end.state, end.latched, end.isDead, end.stand.sim.isOn], end.texts.join('\n')).toEqual(['done', null, true, false])
  expect(end.stand.sim.unit.harms).toEqual([])
  expect(misses(end)).toEqual([])
}
const prove = async (proof: Proof): Promise<ProofEnd> => {
  const end = await proveOnStand(proof)
  soundly(end)
  return end
}

describe('the proof of a sound unit', { timeout: 300_000 }, () => {
  it('tells every figure of the Pavilion amplifier as it is, judges its claims, and leaves it off and dead', async () => {
    const end = await prove({ ...pavilion(11), parameters: { warmS: 600 } })
    const { grade, disposition, reason, unit } = end.result!
    expect([grade, disposition, reason]).toEqual(['accept', 'use', '15 of 15 claims met'])
    expect(unit!.left).toEqual([])
    expect(unit!.claims.map(one => one.end)).toEqual(Array(15).fill('met'))
    const names = new Set(unit!.curves.map(({ name, channel }) => `${name} ${channel}`))
    for (const channel of ['bandstand', 'tea-room']) {
      for (const name of ['response', 'distortion against power', 'spectrum']) expect(names).toContain(`${name} ${channel}`)
    }
    for (const { x, y } of unit!.curves) {
      expect(x.values.length).toBe(y.values.length)
      expect(x.values.length).toBeLessThanOrEqual(600)
      expect([...x.values].sort((a, b) => a - b)).toEqual(x.values)
    }
    expect(end.texts.filter(text => text.startsWith('figure: ')).length).toBe(unit!.figures.length)
    expect(end.texts.join('\n')).toMatch(/figure: bandstand: output power \(\d+\.\d+ ± \d\.\d+\) W, at 2 % THD/)
  })

  it('leaves what a valve stage does not bear, and proves the rest of the Pavilion monitor', async () => {
    const end = await prove(pavilion(21, { which: 'monitor' }))
    expect(end.result!.grade).toBe('cannot tell')
    expect(end.result!.unit!.left.join('\n')).toMatch(/damping factor .*: a valve stage never runs without a load/)
    expect(endOf(end, 'output power')).toEqual(['met'])
    // Its load was never touched: between two steps it would have stood open.
    const { loads, contactor } = end.stand.sim.instruments
    const onMs = contactor.device.effects.list('mains').find(({ value }) => value === 1)!.atMs
    expect(loads.device.effects.list('load-1').filter(({ atMs }) => atMs > onMs)).toEqual([])
  })

  it('tells the figures of a small direct-coupled amplifier', async () => {
    const claims = [
      'DC at the output under 50 mV', 'damping factor 10 at 1 kHz', 'separation 30 dB at 1 kHz', '5 Hz to 60 kHz, -3 dB',
      'less than 1 % THD+N at 1 W', 'noise under 5 mV, A-weighted, source 600 ohms',
    ]
    const end = await prove(drawn('solid-state', 5, claims))
    expect(new Set(end.told.map(({ figure }) => figure.quantity)).size).toBeGreaterThanOrEqual(6)
  })
})

describe('what is wrong with a unit', { timeout: 180_000 }, () => {
  it('shows a wrong claim as not met, and rejects the unit', async () => {
    const end = await prove(pavilion(12, { claims: ['gain 46 dB ± 1 dB', '80 W into 250 ohms at 2 %'] }))
    const { grade, disposition, reason } = end.result!
    expect([endOf(end, 'gain'), endOf(end, 'output power')]).toEqual([['not met'], ['not met']])
    expect([grade, disposition]).toEqual(['reject', 'replace'])
    expect(reason).toBe('0 of 2 claims met; not met: gain 46 dB ± 1 dB | 80 W into 250 ohms at 2 %')
  })
  it('shows a weak channel in gain and balance', async () => {
    const end = await prove(pavilion(13, { faults: ['weak-channel'], claims: ['gain 42 dB ± 1.5 dB', 'channel balance within 1 dB'] }))
    expect([endOf(end, 'gain'), endOf(end, 'channel balance')]).toEqual([['not met'], ['not met']])
    const [verdict] = end.result!.unit!.claims
    expect(verdict!.reason).toContain('tea-room')
  })
  it('shows a hum loop in the hum', async () => {
    const claims = ['hum and noise -70 dB below rated output', 'hum under 20 mV']
    const end = await prove(pavilion(14, { faults: ['hum-loop'], claims }))
    expect(endOf(end, 'hum')).toEqual(['not met'])
    const sound = await prove(pavilion(14, { claims }))
    expect([endOf(sound, 'hum'), endOf(sound, 'signal to noise')]).toEqual([['met'], ['met']])
  })
  it('shows a dry output capacitor in the low end', async () => {
    const claims = ['40 Hz to 15 kHz within 3 dB']
    const dry = await prove(drawn('capacitor-coupled', 6, claims, { faults: ['dry-output-capacitor'] }))
    const sound = await prove(drawn('capacitor-coupled', 6, claims))
    expect([endOf(dry, 'response deviation'), endOf(sound, 'response deviation')]).toEqual([['not met'], ['met']])
  })
  it('trips on a bias that is too low before anything is driven', async () => {
    const { state, latched, stand: { sim } } = await proveOnStand(drawn('solid-state', 7, ['gain 30 dB ± 20 dB'], { faults: ['bias-low'] }))
    expect([state, latched]).toEqual(['tripped', expect.stringMatching(/idle/)])
    const onMs = sim.instruments.contactor.device.effects.list('mains').find(({ value }) => value === 1)!.atMs
    expect(sim.instruments.generator.device.effects.list().filter(({ atMs, value }) => atMs > onMs && value === 1)).toEqual([])
  })
})
