/** The contract of what powers, drives, loads and hears a whole unit, on a unit in closed form. */
import { expect } from 'vitest'
import { SimDigitizer, type RecorderProfile } from '../../mocks/instruments/digitizer.ts'
import { SimLoadBank } from '../../mocks/instruments/load-bank.ts'
import { MainsContactor } from '../../mocks/instruments/mains-contactor.ts'
import { Multimeter } from '../../mocks/instruments/multimeter.ts'
import { SimPowerMeter, type PowerProfile } from '../../mocks/instruments/power-meter.ts'
import { SimSignalGenerator, type SignalProfile } from '../../mocks/instruments/signal-generator.ts'
import { contactorFigures, powerFigures, recorderFigures, signalFigures } from '../../mocks/instruments/unit-specifications.ts'
import type { VirtualClock } from '../../src/base/clock.ts'
import type { InstrumentProfile } from '../../src/schema/instrument-profile.ts'
import type { Measured } from '../../src/schema/reading.ts'
import type { Capture } from '../../src/schema/unit-roles.ts'
import { contract, type Rig } from './contract.ts'
import { PlainUnit } from './plain-unit.ts'

const setupOf = (name: string, clock: VirtualClock) => ({ name, clock, seed: `contract ${name}` })

contract({
  role: 'mains-switch', profile: 'mains-contactor-a', class: 'mains-contactor',
  rig(clock): Rig<'mains-switch'> {
    const unit = new PlainUnit()
    const instrument = new MainsContactor(setupOf('mains', clock), unit)
    return {
      instrument,
      async setAndSee(mains) {
        for (const { name, seriesOhm, share } of mains.ways) {
          await mains.close(name)
          expect(unit.mains).toEqual({ rmsV: 230 * share, frequencyHz: 50, seriesOhm })
          expect(await mains.closedWay()).toBe(name)
        }
        await mains.open()
        expect([unit.mains, await mains.closedWay()]).toEqual([null, null])
        expect(mains.holdMs).toBe(contactorFigures.holdMs)
      },
      change: mains => mains.close('series'),
      outOfRange: mains => [() => mains.close('half')],
      energise: mains => mains.close('full'),
      isSafe: () => unit.mains === null,
    }
  },
})

function powerRig(profile: PowerProfile, clock: VirtualClock): Rig<'power-meter'> {
  const unit = new PlainUnit()
  const instrument = new SimPowerMeter(profile, setupOf(profile, clock), unit)
  const feed = (rmsV: number, mainsOhm: number): void => {
    unit.mainsOhm = mainsOhm
    unit.setMains({ rmsV, frequencyHz: 50.02, seriesOhm: 0 })
  }
  return {
    instrument,
    async setAndSee(meter) {
      expect(meter.readingMs).toBe(powerFigures[profile].readingMs)
      const none = await meter.readPower()
      expect(Math.abs(none.power.value)).toBeLessThan(4 * none.power.u)
      expect(none.frequencyHz.quality).not.toBe('good')
    },
    change: meter => meter.prepare(),
    async readings(meter) {
      const seen: { measured: Measured; truth: number }[] = []
      for (const [rmsV, ohm] of [[230, 460], [230, 12e3], [115, 60], [100, 2500], [250, 40]] as const) {
        feed(rmsV, ohm)
        const { voltage, current, power, frequencyHz } = await meter.readPower()
        const truth = unit.mainsNow()
        seen.push({ measured: voltage, truth: truth.rmsV }, { measured: current, truth: truth.rmsA },
          { measured: power, truth: truth.watts }, { measured: frequencyHz, truth: truth.frequencyHz })
      }
      return seen
    },
    async unmeasurable(meter) {
      feed(230, 4)
      return (await meter.readPower()).power
    },
  }
}

for (const profile of ['power-meter-a', 'power-meter-b'] as const) {
  contract({ role: 'power-meter', profile, class: 'power-meter', rig: clock => powerRig(profile, clock) })
}

function generatorRig(profile: SignalProfile, clock: VirtualClock): Rig<'generator'> {
  const unit = new PlainUnit()
  const figures = signalFigures[profile]
  const instrument = new SimSignalGenerator(profile, { ...setupOf(profile, clock), reference: () => 1e-6 }, unit)
  const at1k = (levelV: number) => [{ frequencyHz: 1000, levelV }]
  return {
    instrument,
    async setAndSee(generator) {
      await generator.setTones(2, at1k(0.5))
      expect(unit.sourceRmsV(1)).toBe(0)
      await generator.setOutput(2, true)
      expect(Math.abs(unit.sourceRmsV(1) - 0.5)).toBeLessThan(4 * generator.levelU!(0.5))
      expect(unit.sourceRmsV(0)).toBe(0)
      const [first] = unit.sources.get(1)!.tones
      const clockError = profile === 'signal-generator-a' ? 1e-6 : figures.clockPpm * 1e-6
      expect(Math.abs(first!.frequencyHz / 1000 - 1)).toBeLessThanOrEqual(clockError * (1 + 1e-6))
      if (generator.tonesMost === 2) {
        await generator.setTones(2, [{ frequencyHz: 60, levelV: 0.4 }, { frequencyHz: 7000, levelV: 0.1 }])
        const strong = unit.sources.get(1)!.tones.filter(tone => tone.peakV > 0.01)
        expect(strong.map(tone => Math.round(tone.frequencyHz))).toEqual([60, 7000])
        expect(strong[0]!.peakV / strong[1]!.peakV).toBeCloseTo(4, 1)
        await generator.setTones(2, at1k(0.3))
        expect(unit.sources.get(1)!.tones.filter(tone => tone.peakV > 0.01)).toHaveLength(1)
      }
      expect(unit.sources.get(1)!.sourceOhm).toBe(generator.sourceOhm)
      expect([generator.sharesClock, generator.own!.clockU === 0]).toEqual(Array(2).fill(profile === 'signal-generator-a'))
      await generator.muteAll()
      expect(unit.sourceRmsV(1)).toBe(0)
      expect(unit.sources.get(1)!.sourceOhm).toBe(generator.sourceOhm)
    },
    change: generator => generator.setTones(1, at1k(0.2)),
    outOfRange: generator => [
      () => generator.setTones(3, at1k(0.1)), () => generator.setTones(1, at1k(generator.levelMaxV * 1.01)), () => generator.setTones(1, []),
      () => generator.setTones(1, at1k(-0.1)), () => generator.setTones(1, at1k(NaN)), () => generator.setOutput(0, true),
      () => generator.setTones(1, [{ frequencyHz: generator.frequencyMaxHz * 1.01, levelV: 0.1 }]),
      () => generator.setTones(1, [{ frequencyHz: NaN, levelV: 0.1 }]),
      // Each of them alone could be given.
      () => generator.setTones(1, [...at1k(generator.levelMaxV * 0.6), ...at1k(generator.levelMaxV * 0.6)]),
      () => generator.setTones(1, [...at1k(0.1), ...at1k(0.1), ...at1k(0.1)]),
    ],
    async readings(generator) {
      const seen = []
      for (const levelV of [0.02, 0.1, 0.775, 3, figures.level.max]) {
        await generator.setTones(1, at1k(levelV))
        await generator.setOutput(1, true)
        const [first] = unit.sources.get(0)!.tones
        seen.push({
          measured: { value: levelV, u: generator.levelU!(levelV), quality: 'good' as const, atMs: 0 },
          truth: first!.peakV / Math.SQRT2,
        })
      }
      return seen
    },
    async energise(generator) {
      await generator.setTones(1, at1k(0.5))
      await generator.setOutput(1, true)
      await generator.setTones(2, at1k(0.5))
      await generator.setOutput(2, true)
    },
    isSafe: () => unit.sourceRmsV(0) === 0 && unit.sourceRmsV(1) === 0,
  }
}

for (const profile of ['signal-generator-a', 'signal-generator-b'] as const) {
  contract({ role: 'generator', profile, class: 'signal-generator', rig: clock => generatorRig(profile, clock) })
}

/** Mean, and RMS of the sine of this frequency, by least squares over the record. */
function sineIn({ volts: [first], sampleHz, gainU, offsetUV }: Capture, hertz: number): { rms: Measured; mean: Measured } {
  const volts = first!
  let [sine, cosine, sum] = [0, 0, 0]
  volts.forEach((v, i) => {
    const angle = 2 * Math.PI * hertz * i / sampleHz
    sine += v * Math.sin(angle)
    cosine += v * Math.cos(angle)
    sum += v
  })
  const rms = Math.hypot(sine, cosine) * Math.SQRT2 / volts.length
  const told = (value: number, u: number): Measured => ({ value, u, quality: 'good', atMs: 0 })
  // A volt that is not quite of this frequency and the noise are left in the mean.
  return { rms: told(rms, Math.hypot(gainU * rms, offsetUV / 10)), mean: told(sum / volts.length, Math.hypot(offsetUV, 1e-5 * rms)) }
}

/** Differential or not, 8 bits and more: what is heard is a sine with a little DC, of whole periods in the record. */
function digitizerRig(profile: RecorderProfile, clock: VirtualClock): Rig<'digitizer'> {
  const unit = new PlainUnit()
  const figures = recorderFigures[profile]
  const rateHz = figures.ratesHz[2]!
  const heard = [{ at: 'output', channel: 0 }, { at: 'output', channel: 1 }] as const
  const instrument = new SimDigitizer(profile, { ...setupOf(profile, clock), heard }, unit)
  const hertz = rateHz / 4000 * 41
  const tone = (rmsV: number): void => unit.drive(0, [{ frequencyHz: hertz * (1 + instrument.core.clockError), peakV: rmsV * Math.SQRT2, phaseRad: 0.3 }], 0)
  const asked = (rangeV: number, channel = 1) => ({ channels: [channel], rangeV, sampleHz: rateHz, samples: 4000 })
  return {
    instrument,
    async setAndSee(digitizer) {
      unit.drive(0, [{ frequencyHz: 1000, peakV: 0.05, phaseRad: 0 }], 0)
      unit.drive(1, [{ frequencyHz: 2000, peakV: 0.02, phaseRad: 1 }], 0)
      const capture = await digitizer.capture({ channels: [2, 1], rangeV: 0.8, sampleHz: rateHz, samples: 3000 })
      expect(instrument.core.rangeV(2)).toBe(1)
      expect([instrument.core.rateHz, instrument.core.samples]).toEqual([rateHz, 3000])
      expect(capture.volts.map(volts => volts.length)).toEqual([3000, 3000])
      expect([capture.sampleHz, capture.isClipped]).toEqual([rateHz, [false, false]])
      for (const [i, channel] of [2, 1].entries()) {
        const truth = unit.output(channel - 1, rateHz * (1 + instrument.core.clockError), 3000)
        const worst = Math.max(...capture.volts[i]!.map((v, n) => Math.abs(v - truth[n]!)))
        expect(worst).toBeLessThan(0.02)
        expect(Math.max(...capture.volts[i]!)).toBeGreaterThan(0.15)
      }
      expect(digitizer.isDifferential).toBe(profile === 'digitizer-a')
      expect([...unit.earthed]).toEqual(digitizer.isDifferential ? [] : [0, 1])
    },
    change: digitizer => digitizer.capture(asked(1)),
    outOfRange: digitizer => [
      () => digitizer.capture(asked(digitizer.rangesV.at(-1)! * 1.01)), () => digitizer.capture(asked(0)), () => digitizer.capture(asked(NaN)),
      () => digitizer.capture(asked(1, 9)), () => digitizer.capture({ ...asked(1), channels: [] }), () => digitizer.capture({ ...asked(1), channels: [1, 1] }),
      () => digitizer.capture({ ...asked(1), sampleHz: rateHz + 1 }), () => digitizer.capture({ ...asked(1), samples: digitizer.samplesMost + 1 }),
      () => digitizer.capture({ ...asked(1), samples: 0 }), () => digitizer.capture({ ...asked(1), samples: 10.5 }),
    ],
    async readings(digitizer) {
      const seen = []
      unit.dcV = 0.02
      for (const rmsV of [0.006, 0.06, 0.6]) {
        tone(rmsV)
        const { rms, mean } = sineIn(await digitizer.capture(asked(rmsV * 10 * Math.SQRT2 + 0.03)), hertz)
        const share = unit.inputOhm / (unit.inputOhm + 0)
        seen.push({ measured: rms, truth: rmsV * 10 * share }, { measured: mean, truth: unit.dcV })
      }
      return seen
    },
    async unmeasurable(digitizer) {
      tone(0.2)
      const { isClipped, atMs } = await digitizer.capture(asked(1))
      return isClipped[0] ? { value: NaN, u: NaN, quality: 'over-range', atMs } : { value: 0, u: 0, quality: 'good', atMs }
    },
  }
}

for (const profile of ['digitizer-a', 'digitizer-b'] as const) {
  contract({ role: 'digitizer', profile, class: 'digitizer', rig: clock => digitizerRig(profile, clock) })
}

/** The same instrument told to write otherwise: every word, both byte orders, and numbers in a line. */
const words = [
  ['int8', 'INT,8'], ['int16', 'INT,16'], ['int24', 'INT,24'], ['int32', 'INT,32'], ['real32', 'REAL,32'], ['real64', 'REAL,64'],
] as const
for (const [word, form] of words) {
  for (const [order, border] of [['normal', 'NORM'], ['swapped', 'SWAP']] as const) {
    contract({
      role: 'digitizer', profile: 'digitizer-a', class: 'digitizer', rig: clock => digitizerRig('digitizer-a', clock),
      altered: { name: `${word} ${order}`, profile: shipped => writingIn(shipped, form, border, { kind: 'block', word, order }) },
    })
  }
}
contract({
  role: 'digitizer', profile: 'digitizer-a', class: 'digitizer', rig: clock => digitizerRig('digitizer-a', clock),
  altered: { name: 'ASCII', profile: shipped => writingIn(shipped, 'ASC', 'NORM', { kind: 'ascii', sampleBytesMax: 16 }) },
})

function writingIn(shipped: InstrumentProfile, form: string, border: string, data: object): unknown {
  if (shipped.class !== 'digitizer') throw new Error('not a digitizer')
  const bits = /^INT,(\d+)$/.exec(form)?.[1]
  return {
    ...shipped, data, prepare: ['*RST', '*CLS', `FORM ${form}`, `FORM:BORD ${border}`],
    // Of a word that is shorter the last bits are missing; volts need no scale, and are at its end at the range.
    bits: Math.min(24, Number(bits ?? 24)),
    clipping: bits === undefined ? { share: 0.9999998 }
      : { codes: { low: -(2 ** (Number(bits) - 1)), high: Number(bits) === 32 ? (2 ** 23 - 1) * 256 : 2 ** (Number(bits) - 1) - 1 } },
    commands: { ...shipped.commands, confirm: [{ query: 'FORM?', answer: form }, { query: 'FORM:BORD?', answer: border }] },
  }
}

contract({
  role: 'ac-meter', profile: 'multimeter-6d-a', class: 'multimeter',
  rig(clock): Rig<'ac-meter'> {
    let rmsV = 0
    const instrument = new Multimeter('multimeter-6d-a', setupOf('ac', clock), { volts: () => 0.3, rmsVolts: () => rmsV })
    return {
      instrument,
      async setAndSee(meter) {
        await meter.configure({ rangeV: 20 })
        expect([instrument.active, instrument.rms.autorange, instrument.rms.size]).toEqual(['VOLT:AC', false, 100])
        expect(meter.readingMs).toBe(instrument.rms.readingMs)
        await meter.configure({ rangeV: 'auto' })
        expect(instrument.rms.autorange).toBe(true)
      },
      change: meter => meter.configure({ rangeV: 20 }),
      outOfRange: meter => [
        () => meter.configure({ rangeV: 701 }), () => meter.configure({ rangeV: -1 }), () => meter.configure({ rangeV: NaN }),
      ],
      async readings(meter) {
        const seen = []
        for (const rangeV of ['auto', 100] as const) {
          await meter.configure({ rangeV })
          for (rmsV of [0.05, 0.775, 12.65, 90]) seen.push({ measured: await meter.readVoltage(), truth: rmsV })
        }
        return seen
      },
      async unmeasurable(meter) {
        await meter.configure({ rangeV: 10 })
        rmsV = 40
        return meter.readVoltage()
      },
    }
  },
})

contract({
  role: 'load', profile: 'load-bank-a', class: 'load-bank',
  rig(clock): Rig<'load'> {
    const unit = new PlainUnit()
    const instrument = new SimLoadBank(setupOf('load', clock), unit)
    return {
      instrument,
      async setAndSee(load) {
        for (const ohm of load.stepsOhm) {
          await load.connect(2, ohm)
          expect(Math.abs(unit.loads.get(1)! - ohm)).toBeLessThan(4 * load.stepU!(ohm))
          expect([await load.connected(2), await load.connected(1)]).toEqual([ohm, null])
        }
        await load.connect(2, null)
        expect([unit.loads.get(1), await load.connected(2)]).toEqual([null, null])
      },
      change: load => load.connect(1, 8),
      outOfRange: load => [
        () => load.connect(3, 8), () => load.connect(1, 7), () => load.connect(1, NaN), () => load.connected(0),
      ],
    }
  },
})
