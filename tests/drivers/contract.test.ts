import { expect } from 'vitest'
import { DcSupply, type SupplyProfile } from '../../mocks/instruments/dc-supply.ts'
import { HoldInRelay } from '../../mocks/instruments/hold-in-relay.ts'
import { LcrBridge, type BridgeProfile } from '../../mocks/instruments/lcr-bridge.ts'
import { RelayBoard } from '../../mocks/instruments/relay-board.ts'
import { Scanner, type ScannerProfile } from '../../mocks/instruments/scanner.ts'
import { Beacon, InterlockReader, Thermometer } from '../../mocks/instruments/small-instruments.ts'
import { supplyRatings } from '../../mocks/instruments/specifications.ts'
import { BenchSwitches } from '../../mocks/instruments/terminals.ts'
import type { VirtualClock } from '../../src/base/clock.ts'
import { contract, type Rig } from './contract.ts'

const setupOf = (name: string, clock: VirtualClock) => ({ name, clock, seed: `contract ${name}` })

/** A supply on a resistor: it holds its voltage until the current reaches its limit. */
function supplyRig(profile: SupplyProfile, clock: VirtualClock, loadOhm: number): Rig<'supply'> {
  const { voltageMaxV, overVoltageMaxV } = supplyRatings[profile]
  const [highV, overV] = [0.75 * voltageMaxV, 0.8 * voltageMaxV]
  let drive = { voltageV: 0, currentLimitA: 0, on: false }
  const volts = (): number => drive.on ? Math.min(drive.voltageV, drive.currentLimitA * loadOhm) : 0
  const instrument = new DcSupply(profile, setupOf(profile, clock), {
    apply: setting => { drive = { ...setting } }, outputV: volts, currentA: () => volts() / loadOhm,
    mode: () => drive.voltageV <= drive.currentLimitA * loadOhm ? 'cv' : 'cc',
  })
  return {
    instrument,
    async setAndSee(supply) {
      expect(await supply.protect(overV, 0.1)).toEqual({ overVoltageV: overV, overCurrentA: 0.1 })
      await supply.setVoltage(highV)
      await supply.setCurrentLimit(0.05)
      expect(volts()).toBe(0)
      await supply.setOutput(true)
      expect(await supply.settings()).toEqual({ voltageV: highV, currentLimitA: 0.05, on: true })
      expect(Math.abs(volts() - highV)).toBeLessThan(0.001 * voltageMaxV)
      expect(await supply.protectionTripped()).toBe('none')
      await supply.setOutput(false)
      expect(volts()).toBe(0)
    },
    change: supply => supply.setVoltage(10),
    outOfRange: supply => [
      () => supply.setVoltage(voltageMaxV + 1), () => supply.setVoltage(-1), () => supply.setVoltage(NaN),
      () => supply.setCurrentLimit(1.01), () => supply.protect(overVoltageMaxV + 1, 0.1), () => supply.protect(overV, 2),
    ],
    async readings(supply) {
      await supply.setVoltage(voltageMaxV / 2)
      await supply.setCurrentLimit(0.1)
      await supply.setOutput(true)
      return [
        { measured: await supply.readVoltage(), truth: volts() },
        { measured: await supply.readCurrent(), truth: volts() / loadOhm },
      ]
    },
    async energise(supply) {
      await supply.setVoltage(voltageMaxV / 5)
      await supply.setCurrentLimit(0.1)
      await supply.setOutput(true)
    },
    isSafe: () => volts() === 0,
    ...profile === 'dc-supply-600v-a' ? {
      async watched(supply, seconds) {
        await supply.armWatchdog(seconds)
        await this.energise!(supply)
      },
      poll: supply => supply.readCurrent(),
    } satisfies Partial<Rig<'supply'>> : {},
  }
}

for (const profile of ['dc-supply-600v-a', 'dc-supply-500v-b', 'dc-supply-60v-c'] as const) {
  contract({ role: 'supply', profile, class: 'dc-supply', rig: clock => supplyRig(profile, clock, 20e3) })
}

function bridgeRig(profile: BridgeProfile, clock: VirtualClock): Rig<'bridge'> {
  let part: { c: number; r: number } | null = { c: 47e-6, r: 1.2 }
  let other: { r: number; h: number } | null = null
  const instrument = new LcrBridge(profile, setupOf(profile, clock), {
    impedance: hertz => other ? { re: other.r, im: 2 * Math.PI * hertz * other.h }
      : part ? { re: part.r, im: -1 / (2 * Math.PI * hertz * part.c) } : { re: Infinity, im: 0 },
  })
  const setup = { frequencyHz: 120, levelV: 0.5 }
  return {
    instrument,
    async setAndSee(bridge) {
      await bridge.measure({ frequencyHz: 1000, levelV: 0.5 })
      expect(instrument.core.frequencyHz).toBe(1000)
      expect((await bridge.measure(setup)).frequencyHz).toBe(120)
      expect(instrument.core.frequencyHz).toBe(120)
    },
    change: async bridge => { await bridge.prepare(); await bridge.measure(setup) },
    outOfRange: bridge => [
      () => bridge.measure({ frequencyHz: 1, levelV: 0.5 }), () =>
        bridge.measure({ frequencyHz: 120, levelV: 9 }),
    ],
    async readings(bridge) {
      const seen = []
      for (part of [{ c: 47e-6, r: 1.2 }, { c: 1e-3, r: 0.2 }, { c: 1e-7, r: 300 }]) {
        const { capacitance, esr, dissipation } = await bridge.measure(setup)
        seen.push({ measured: capacitance, truth: part.c }, { measured: esr, truth: part.r },
          { measured: dissipation, truth: 2 * Math.PI * 120 * part.c * part.r })
        const { rOhm, xOhm } = await bridge.impedance(setup)
        seen.push({ measured: rOhm, truth: part.r }, { measured: xOhm, truth: -1 / (2 * Math.PI * 120 * part.c) })
      }
      // An inductor, and a resistor with next to none of it.
      for (other of [{ r: 5, h: 10e-3 }, { r: 40, h: 5 }, { r: 470, h: 1e-3 }]) {
        const { rOhm, xOhm } = await bridge.impedance({ frequencyHz: 1000, levelV: 0.5 })
        seen.push({ measured: rOhm, truth: other.r }, { measured: xOhm, truth: 2000 * Math.PI * other.h })
      }
      return seen
    },
    async unmeasurable(bridge) {
      part = null
      return (await bridge.measure(setup)).capacitance
    },
  }
}

contract({ role: 'bridge', profile: 'lcr-bridge-a', class: 'lcr-bridge', rig: clock => bridgeRig(
  'lcr-bridge-a', clock
) })
contract({
  role: 'bridge', profile: 'lcr-bridge-b', class: 'lcr-bridge', rig: clock =>
    bridgeRig('lcr-bridge-b', clock),
  noErrorsBecause: 'the dialect has no way to tell an error; every setting is read back',
})

function scannerRig(
  profile: ScannerProfile, clock: VirtualClock, first: number, last: number
): Rig<'scanner'> {
  let closed: readonly number[] = []
  let mostClosed = 0
  const instrument = new Scanner(profile, setupOf(profile, clock), {
    closed: channels => { closed = [...channels]; mostClosed = Math.max(mostClosed, closed.length) },
  })
  return {
    instrument,
    async setAndSee(scanner) {
      for (const channel of [first, last, first + 1]) {
        await scanner.select(channel)
        expect(closed).toEqual([channel])
      }
      expect(mostClosed).toBe(1)
      await scanner.select(null)
      expect(closed).toEqual([])
    },
    change: async scanner => { await scanner.select(first); await scanner.select(null) },
    outOfRange: scanner =>
      [() => scanner.select(first - 1), () => scanner.select(last + 1), () => scanner.select(NaN)],
  }
}

contract({ role: 'scanner', profile: 'scanner-a', class: 'scanner', rig: clock => scannerRig(
  'scanner-a', clock, 101, 1240
) })
contract({ role: 'scanner', profile: 'scanner-b', class: 'scanner', rig: clock => scannerRig(
  'scanner-b', clock, 1, 40
) })

function boardOf(clock: VirtualClock) {
  const held = new Set<number>()
  const inputs = new Map<number, boolean>()
  const instrument = new RelayBoard(setupOf('board', clock), {
    contact: (relay, on) => { if (on) held.add(relay); else held.delete(relay) }, input: number =>
      inputs.get(number) ?? false,
  })
  return { held, inputs, instrument }
}

contract({
  role: 'positions', profile: 'relay-board-a', class: 'relay-board',
  rig(clock) {
    const { held, instrument } = boardOf(clock)
    const many = Array.from({ length: 150 }, (_, i) => 2 * i + 1)
    return {
      instrument,
      async setAndSee(board) {
        await board.hold(many)
        expect([...held].sort((a, b) => a - b)).toEqual(many)
        expect((await board.held([1, 2, 3])).join()).toBe('true,false,true')
        await board.release([3])
        expect(held.has(3)).toBe(false)
        await board.releaseAll()
        expect(held.size).toBe(0)
      },
      change: board => board.hold([7]),
      outOfRange: board => [() => board.hold([0]), () => board.release([513]), () => board.held([1.5])],
      energise: board => board.hold([1, 2, 3]),
      isSafe: () => held.size === 0,
    }
  },
})

contract({
  role: 'bleed', profile: 'relay-board-a', class: 'relay-board', relay: 500,
  rig(clock) {
    const { held, instrument } = boardOf(clock)
    return {
      instrument,
      async setAndSee(bleed) {
        instrument.hold([3])
        await bleed.hold([500])
        expect(held).toEqual(new Set([3, 500]))
        await bleed.releaseAll()
        expect(held).toEqual(new Set([3]))
      },
      change: bleed => bleed.hold([500]),
      outOfRange: bleed => [() => bleed.hold([3]), () => bleed.release([499])],
      energise: bleed => bleed.hold([500]),
      isSafe: () => !held.has(500),
    }
  },
})

contract({
  role: 'cutoff', profile: 'hold-in-relay-a', class: 'hold-in-relay',
  rig(clock) {
    let closed = false
    const switches = new BenchSwitches()
    const instrument = new HoldInRelay(setupOf('cutoff', clock), { contact: on => { closed = on } }, switches)
    return {
      instrument,
      async setAndSee(cutoff) {
        await cutoff.close()
        expect([closed, await cutoff.isClosed()]).toEqual([true, true])
        await cutoff.open()
        expect([closed, await cutoff.isClosed()]).toEqual([false, false])
        switches.coverClosed = false
        await expect(cutoff.close()).rejects.toMatchObject({ code: 'INSTRUMENT_ERROR' })
        expect(closed).toBe(false)
      },
      change: cutoff => cutoff.close(),
      energise: cutoff => cutoff.close(),
      isSafe: () => !closed,
    }
  },
})

contract({
  role: 'cutoff', profile: 'relay-board-a', class: 'relay-board', relay: 60,
  rig(clock) {
    const { held, instrument } = boardOf(clock)
    return {
      instrument,
      async setAndSee(cutoff) {
        await cutoff.close()
        expect([held.has(60), await cutoff.isClosed()]).toEqual([true, true])
        await cutoff.open()
        expect([held.has(60), await cutoff.isClosed()]).toEqual([false, false])
      },
      change: cutoff => cutoff.close(),
      energise: cutoff => cutoff.close(),
      isSafe: () => !held.has(60),
    }
  },
})

contract({
  role: 'interlock', profile: 'interlock-reader-a', class: 'interlock-reader',
  rig(clock) {
    const switches = new BenchSwitches()
    const instrument = new InterlockReader(setupOf('interlock', clock), switches)
    return {
      instrument,
      async setAndSee(interlock) {
        for (const coverClosed of [true, false]) {
          for (const present of [true, false]) {
            Object.assign(switches, { coverClosed, present })
            expect(await interlock.read()).toEqual({ coverClosed, present })
          }
        }
      },
      change: interlock => interlock.read(),
    }
  },
  noErrorsBecause: 'it is only read; an answer that is neither open nor closed fails the call',
})

contract({
  role: 'interlock', profile: 'relay-board-a', class: 'relay-board', relay: 1,
  rig(clock) {
    const { inputs, instrument } = boardOf(clock)
    return {
      instrument,
      async setAndSee(interlock) {
        inputs.set(1, true)
        expect(await interlock.read()).toEqual({ coverClosed: true, present: false })
        inputs.set(1, false).set(2, true)
        expect(await interlock.read()).toEqual({ coverClosed: false, present: true })
      },
      change: interlock => interlock.read(),
    }
  },
  noErrorsBecause: 'it is only read; an answer that is neither open nor closed fails the call',
})

contract({
  role: 'beacon', profile: 'beacon-a', class: 'beacon',
  rig(clock) {
    const instrument = new Beacon(setupOf('beacon', clock))
    return {
      instrument,
      async setAndSee(beacon) {
        for (const [state, lamp] of [['live', 'LIVE'], ['fault', 'FAUL'], ['dark', 'DARK']] as const) {
          await beacon.show(state)
          expect(instrument.lamp).toMatch(new RegExp(`^${lamp}`))
        }
      },
      change: beacon => beacon.show('live'),
    }
  },
})

contract({
  role: 'beacon', profile: 'relay-board-a', class: 'relay-board', relay: 101,
  rig(clock) {
    const { held, instrument } = boardOf(clock)
    return {
      instrument,
      async setAndSee(beacon) {
        for (const [state, relays] of [['live', [101]], ['fault', [102]], ['dark', []]] as const) {
          await beacon.show(state)
          expect([...held]).toEqual(relays)
        }
      },
      change: beacon => beacon.show('live'),
    }
  },
})

contract({
  role: 'thermometer', profile: 'thermometer-a', class: 'thermometer',
  rig(clock) {
    const instrument = new Thermometer(setupOf('thermometer', clock), { celsius: channel => 20 + channel })
    return {
      instrument,
      async setAndSee(thermometer) {
        const { value } = await thermometer.readTemperature(30)
        expect(Math.abs(value - 50)).toBeLessThan(0.6)
      },
      change: thermometer => thermometer.prepare(),
      outOfRange: thermometer =>
        [() => thermometer.readTemperature(0), () => thermometer.readTemperature(65)],
      readings: async thermometer => {
        const seen = []
        for (let channel = 1; channel <= 64; channel++) {
          seen.push({ measured: await thermometer.readTemperature(channel), truth: 20 + channel })
        }
        return seen
      },
      async unmeasurable(thermometer) {
        instrument.device.faults.set({ kind: 'sensor-open', value: 3 })
        return thermometer.readTemperature(3)
      },
    }
  },
})
