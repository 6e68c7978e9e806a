/** Units drawn by seed: sound ones work and keep their word; each fault changes what it should and nothing else. */
import { describe, expect, it } from 'vitest'
import type { SimulatedUnit } from '../../../mocks/units/amplifier.ts'
import { canHave, loopGainPerShare, unitFaults, type UnitFault } from '../../../mocks/units/faults.ts'
import { makeUnit, unitKinds, type MadeUnit, type UnitKind } from '../../../mocks/units/make-unit.ts'
import { faultWords, monitorAmplifier, pavilionAmplifier } from '../../../mocks/units/scenario.ts'
import { unitProfile } from '../../../src/schema/unit-profile.ts'
import { mean, peakAt, sine } from './rig.ts'

/** Whole periods of all that is looked at: 40 960 samples, 204 800 of them a second. */
const recordS = 0.2
const on = { rmsV: 230, frequencyHz: 50, seriesOhm: 0 }

function started({ world, truth }: MadeUnit): SimulatedUnit {
  world.channels.forEach((_, i) => { world.setLoad(i, truth.channels[i]!.output.ratedOhm); world.drive(i, [], 0) })
  world.setMains(on)
  world.advance(5)
  return world
}

const keys = [
  'gain of the first', 'gain of the last', 'hum', 'dc cold', 'dc warm', 'idle', 'plus', 'minus', 'mains', 'bass',
  'damping', 'ultrasound', 'sensor', 'left standing', 'crossover', 'hot in the end', 'drops out', 'harms',
] as const
type Key = (typeof keys)[number]

/** Everything that a bench could look at, of one unit; the last channel is the one that faults are in. */
function seen(made: MadeUnit): Record<Key, number> {
  const world = started(made)
  const last = made.truth.channels.length - 1
  const { loadOhm, emfV } = driveOf(made)
  const record = (channel: number, hz: number, emf: number): Float64Array => {
    world.drive(channel, [sine(hz, emf)], 0)
    world.settleRails()
    return world.output(channel, 204_800, 40_960)
  }
  const level = (channel: number, hz: number): number => peakAt(record(channel, hz, emfV), hz * recordS)
  const quiet = (): Float64Array => { world.drive(last, [], 0); return world.output(last, 204_800, 40_960) }
  const rails = made.truth.supply.rails.map(({ name }) => Math.abs(world.rail(name)))
  const cold = quiet()
  const found: Partial<Record<Key, number>> = {
    idle: world.idle(made.truth.channels[last]!.power.idleName), mains: world.mainsNow().watts,
    plus: rails[0]!, minus: rails.at(-1)!, 'dc cold': mean(cold), hum: peakAt(cold, 50 * recordS),
    ultrasound: above(cold), 'gain of the first': level(0, 1000),
    'gain of the last': level(last, 1000), bass: level(last, 20) / level(last, 1000),
    crossover: peakAt(record(last, 1000, emfV), 3000 * recordS),
  }
  const loaded = level(last, 1000)
  world.setLoad(last, loadOhm * 2)
  found.damping = level(last, 1000) / loaded
  world.setLoad(last, loadOhm)
  world.drive(0, [], 0)
  quiet()
  const kept = world.thermal.celsius.slice()
  world.thermal.celsius.fill(52)
  found['dc warm'] = mean(quiet())
  found.sensor = world.temperature('heatsink')
  world.thermal.celsius.set(kept)
  return { ...found, ...later(world, last) } as Record<Key, number>
}

/** What only hours show. */
function later(world: SimulatedUnit, last: number): Partial<Record<Key, number>> {
  world.drive(last, [sine(1000, 1e-3)], 0)
  let drops = 0
  for (let i = 0; i < 150; i++) {
    world.advance(5)
    if (world.channels[last]!.standing(world.nowS, 52) === 0) drops++
  }
  world.drive(last, [], 0)
  world.advance(4 * 3600)
  const hot = world.thermal.celsius[0]!
  world.setMains(null)
  world.advance(900)
  const standing = Math.max(...world.truth.supply.rails.map(({ name }) => Math.abs(world.rail(name))))
  return { 'drops out': drops, 'hot in the end': hot, 'left standing': standing, harms: world.harms.length }
}

/** Root mean square of what changes from sample to sample, less what noise alone does: far above hearing. */
const above = (volts: Float64Array): number => {
  let sum = 0
  for (let n = 1; n < volts.length; n++) sum += (volts[n]! - volts[n - 1]!) ** 2
  return Math.sqrt(sum / volts.length)
}

function driveOf({ truth }: MadeUnit): { loadOhm: number; emfV: number } {
  const { output, stages } = truth.channels[0]!
  const gain = stages.reduce((product, stage) => product * stage.gain, 1)
  const loaded = gain * output.ratedOhm / (output.ratedOhm + output.sourceOhm)
  return { loadOhm: output.ratedOhm, emfV: Math.sqrt(output.ratedW * output.ratedOhm / 20) / loaded }
}

/** What each fault must change; `all`: it may change anything, as a unit that is broken outright does. */
const marks: Readonly<Record<UnitFault, { must: readonly Key[]; may?: readonly Key[] | 'all' }>> = {
  'offset-drift': { must: ['dc warm'], may: ['dc cold'] },
  'dry-output-capacitor': { must: ['bass', 'damping'], may: ['gain of the last', 'crossover', 'mains', 'hum', 'ultrasound'] },
  runaway: { must: ['hot in the end', 'harms'], may: 'all' },
  // What is called ultrasound weighs by frequency: much hum shows in it too.
  'hum-loop': { must: ['hum'], may: ['ultrasound'] },
  'weak-channel': { must: ['gain of the last'], may: ['crossover', 'hum', 'ultrasound'] },
  intermittent: { must: ['drops out'] },
  'wrong-claim': { must: [] },
  'shorted-output': { must: ['mains', 'harms'], may: 'all' },
  'open-bleeder': { must: ['left standing'], may: ['mains', 'plus', 'minus', 'hum'] },
  'rail-fuse-open': { must: ['minus', 'mains'], may: 'all' },
  'bias-high': {
    must: ['idle', 'mains', 'hot in the end'],
    may: ['crossover', 'damping', 'gain of the last', 'gain of the first', 'plus', 'minus', 'hum', 'dc warm', 'dc cold', 'bass', 'ultrasound'],
  },
  'bias-low': {
    must: ['idle', 'mains', 'crossover'],
    may: ['damping', 'gain of the last', 'gain of the first', 'plus', 'minus', 'hum', 'hot in the end', 'bass', 'dc cold', 'ultrasound'],
  },
  'cold-oscillation': { must: ['ultrasound'], may: ['mains', 'plus', 'minus', 'hum', 'hot in the end', 'dc cold', 'crossover'] },
  'mains-short': { must: ['harms'], may: 'all' },
  'leaking-coupling': { must: ['dc warm'], may: ['dc cold'] },
  'hot-sensor': { must: ['sensor'] },
}

/** The first can have all faults but one; of the others those that show in another way. */
const hosts: Readonly<Partial<Record<UnitKind, readonly UnitFault[]>>> = {
  'solid-state': unitFaults, 'capacitor-coupled': ['dry-output-capacitor', 'runaway', 'open-bleeder'],
  'public-address': ['runaway', 'hum-loop', 'shorted-output', 'rail-fuse-open'],
}

describe('faults', () => {
  const kinds = Object.keys(hosts) as (keyof typeof hosts)[]
  const sound = new Map(kinds.map(kind => [kind, seen(makeUnit(kind, 3))]))
  const cases = kinds.flatMap(kind => hosts[kind]!
    .filter(fault => canHave(makeUnit(kind, 3).truth, fault)).map(fault => [kind, fault] as const))
  it.each(cases)('of a %s unit: %s changes what it should and nothing else', (kind, fault) => {
    const healthy = sound.get(kind)!
    const ill = seen(makeUnit(kind, 3, { faults: [fault] }))
    const { must, may = [] } = marks[fault]
    const changed = keys.filter(key => {
      const scale = Math.max(Math.abs(healthy[key]), key.startsWith('dc') ? 1 : 1e-3)
      return Math.abs(ill[key] - healthy[key]) > 1e-3 * scale
    })
    expect(changed).toEqual(expect.arrayContaining([...must]))
    if (may !== 'all') expect(changed.filter(key => !must.includes(key) && !may.includes(key))).toEqual([])
  })
  it('are known by one sentence each, and every one by some unit', () => {
    for (const fault of unitFaults) {
      expect(faultWords[fault].length).toBeGreaterThan(20)
      expect(cases.some(([, each]) => each === fault), fault).toBe(true)
    }
  })
  it('are refused where a unit has nothing that could fail so', () => {
    expect(() => makeUnit('solid-state', 1, { faults: ['dry-output-capacitor'] })).toThrow(/cannot have/)
    expect(() => makeUnit('valve', 1, { faults: ['rail-fuse-open'] })).toThrow(/cannot have/)
  })
  it('of runaway have a loop gain above 1, sound units far below', () => {
    for (let seed = 0; seed < 20; seed++) {
      for (const kind of unitKinds) {
        const loop = (faults: readonly UnitFault[]): number => {
          const { truth } = makeUnit(kind, seed, { faults })
          const channel = truth.channels.at(-1)!
          return loopGainPerShare(channel, truth) * channel.power.idlePerK
        }
        expect(loop([])).toBeLessThan(0.4)
        expect(loop(['runaway'])).toBeGreaterThan(1.2)
      }
    }
  })
})

describe('drawn units', () => {
  it('are the same for the same seed, and others for another', () => {
    for (const kind of unitKinds) {
      expect(makeUnit(kind, 5).truth).toEqual(makeUnit(kind, 5).truth)
      expect(makeUnit(kind, 5).truth).not.toEqual(makeUnit(kind, 6).truth)
    }
  })
  it.each(unitKinds)('of kind %s run at an eighth of their power for hours, unharmed and cool enough', kind => {
    for (const seed of [1, 2, 3]) {
      const made = makeUnit(kind, seed)
      const world = started(made)
      const { output } = made.truth.channels[0]!
      const { emfV } = driveOf(made)
      world.channels.forEach((_, i) => { world.drive(i, [sine(1000, emfV * Math.sqrt(20 / 8 * 2))], 0) })
      world.advance(4 * 3600)
      expect(world.harms).toEqual([])
      expect(world.temperature('heatsink')).toBeLessThan(80)
      expect(world.temperature('transformer')).toBeLessThan(80)
      const heard = world.output(0, 65_536, 65_536)
      if (!made.truth.channels[0]!.equalisation) {
        expect(Math.abs(peakAt(heard, 1000) ** 2 / 2 / output.ratedOhm / (output.ratedW / 8) - 1)).toBeLessThan(0.25)
      }
      world.setMains(null)
      world.advance(300)
      for (const { name } of made.truth.supply.rails) expect(Math.abs(world.rail(name))).toBeLessThan(60)
    }
  })
  it('print a profile that the program reads, and claims that are true but for a wrong one', () => {
    for (const kind of unitKinds) {
      const { printed } = makeUnit(kind, 4)
      const read = unitProfile.safeParse(printed.profile)
      expect(read.error?.issues ?? [], kind).toEqual([])
      expect(printed.claims.filter(({ isTrue }) => !isTrue)).toEqual([])
      const wrong = makeUnit(kind, 4, { faults: ['wrong-claim'] })
      expect(wrong.printed.claims.filter(({ isTrue }) => !isTrue).length).toBe(1)
    }
  })
  it('of the demo are the amplifier of the Pavilion and its monitor', () => {
    const amplifier = pavilionAmplifier(1)
    expect(amplifier.truth).toBe('sound')
    expect(amplifier.made.truth.channels.map(({ output }) => [output.kind, output.ratedW, output.ratedOhm]))
      .toEqual([['line-transformer', 40, 250], ['line-transformer', 40, 250]])
    const monitor = monitorAmplifier(1, ['runaway'])
    expect(monitor.truth).toBe(faultWords.runaway)
    expect(monitor.made.truth.channels[0]!.output.isValve).toBe(true)
    for (const { made } of [amplifier, monitor]) expect(unitProfile.safeParse(made.printed.profile).success).toBe(true)
  })
})
