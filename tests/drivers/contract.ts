/**
 * What every driver owes, whatever the dialect: told against the simulated instrument over a real session.
 * Each subject says how its own instrument is moved and looked at; the simulated instruments share no code
 * with drivers or session.
 */
import { describe, expect, it } from 'vitest'
import type { SimInstrument } from '../../mocks/instruments/instrument.ts'
import { Refusal } from '../../mocks/scpi-device/status.ts'
import { VirtualClock } from '../../src/base/clock.ts'
import { isBenchError } from '../../src/base/errors.ts'
import { createDriver } from '../../src/drivers/create.ts'
import { sessionOptionsOf } from '../../src/drivers/session-options.ts'
import { instrumentProfile, type InstrumentClass, type InstrumentProfile } from '../../src/schema/instrument-profile.ts'
import type { Measured } from '../../src/schema/reading.ts'
import type { RoleName, Roles, SafeOffStep } from '../../src/schema/roles.ts'
import { Session } from '../../src/scpi/session.ts'
import { memoryLink } from '../../src/transport/memory.ts'
import { shippedProfile } from './scripted-port.ts'

type DriverOf<R extends RoleName> = NonNullable<Roles[R]>

/** One simulated instrument with what hangs on it. */
export interface Rig<R extends RoleName> {
  readonly instrument: SimInstrument
  /** Sets something and looks at the world, not at the driver, to see that it came about in SI. */
  setAndSee(driver: DriverOf<R>): Promise<void>
  /** A call that changes state; it must fail when the instrument has an error to tell. */
  change(driver: DriverOf<R>): Promise<unknown>
  /** Calls outside of what the instrument can do. */
  outOfRange?(driver: DriverOf<R>): (() => Promise<unknown>)[]
  /** Readings of known things, in SI. */
  readings?(driver: DriverOf<R>): Promise<{ measured: Measured; truth: number }[]>
  /** Brings about something that cannot be measured, and reads. */
  unmeasurable?(driver: DriverOf<R>): Promise<Measured>
  /** Energises (or connects), so that safe-off has something to do. */
  energise?(driver: DriverOf<R>): Promise<void>
  /** What stands at the terminals is safe. */
  isSafe?(): boolean
  /** Energises, and arms what takes the energy off when the link is silent for `seconds`. */
  watched?(driver: DriverOf<R>, seconds: number): Promise<void>
  /** Asks for something, as a poll does. */
  poll?(driver: DriverOf<R>): Promise<unknown>
}

export interface Subject<R extends RoleName> {
  readonly role: R
  readonly profile: string
  readonly class: InstrumentClass
  readonly relay?: number
  /** The shipped profile as a person may change it, with what that is called. */
  readonly altered?: { readonly name: string; profile(shipped: InstrumentProfile): unknown }
  rig(clock: VirtualClock): Rig<R>
  /** Why an instrument error cannot fail a call; then what is not taken is found by reading back. */
  readonly noErrorsBecause?: string
}

async function onTheBench<R extends RoleName>(
  subject: Subject<R>, work: (
    parts: { rig: Rig<R>; driver: DriverOf<R>; session: Session; clock: VirtualClock }
  ) => Promise<void>,
): Promise<void> {
  const clock = new VirtualClock()
  const rig = subject.rig(clock)
  const shipped: InstrumentProfile = shippedProfile(subject.profile, subject.class)
  const profile = subject.altered ? instrumentProfile.parse(subject.altered.profile(shipped)) : shipped
  const link = memoryLink(clock, { onBytes: (chunk, reply) => rig.instrument.receive(chunk, reply) })
  const session = new Session(link.open, { name: subject.profile, clock, ...sessionOptionsOf(profile) })
  const options = subject.relay === undefined ? {} : { relay: subject.relay }
  await clock.run((async () => {
    await session.connect()
    const driver = createDriver(subject.role, profile, session, clock, options)
    await driver.prepare()
    await work({ rig, driver, session, clock })
  })())
  await session.close()
}

const codeOf = async (work: Promise<unknown>): Promise<string> => {
  try {
    await work
    return 'none'
  } catch (error) {
    return isBenchError(error) ? error.code : String(error)
  }
}

/** Registers the contract for one subject. */
export function contract<R extends RoleName>(subject: Subject<R>): void {
  const on = (work: Parameters<typeof onTheBench<R>>[1]) => () => onTheBench(subject, work)
  const { noErrorsBecause } = subject
  // What a kind of instrument cannot do (a scanner reads nothing) is not promised of it.
  const can = subject.rig(new VirtualClock())

  describe(`${subject.profile}${subject.altered ? `, ${subject.altered.name},` : ''} as ${subject.role}`, () => {
    it('identifies itself', on(async ({ driver, rig }) => {
      const identity = await driver.identify()
      expect(identity.raw).toBe(rig.instrument.identity)
      expect(
        [identity.maker, identity.model, identity.serial, identity.firmware].join(',')
      ).toBe(identity.raw)
    }))

    it('is prepared without an error of its own and without energy', on(async ({ rig }) => {
      expect(rig.instrument.device.status.errors.size).toBe(0)
      if (rig.isSafe) expect(rig.isSafe()).toBe(true)
    }))

    it('brings about in the world what was set, in SI, without an error', on(async ({ driver, rig }) => {
      await rig.setAndSee(driver)
      expect(rig.instrument.device.status.errors.size).toBe(0)
    }))

    if (can.outOfRange) it('refuses what is out of range and sends nothing', on(async ({ driver, rig }) => {
      const before = rig.instrument.device.received.total
      for (const call of rig.outOfRange!(driver)) expect(await codeOf(call())).toBe('OUT_OF_RANGE')
      expect(rig.instrument.device.received.total).toBe(before)
    }))

    if (can.readings) it('reads known things within 4 standard uncertainties', on(async ({ driver, rig }) => {
      for (const { measured, truth } of await rig.readings!(driver)) {
        expect(measured.quality).toBe('good')
        expect(measured.u).toBeGreaterThan(0)
        expect(
          Math.abs(measured.value - truth), `${measured.value} ± ${measured.u} for ${truth}`
        ).toBeLessThan(4 * measured.u)
      }
    }))

    if (can.unmeasurable) it('gives what cannot be measured no number', on(async ({ driver, rig }) => {
      const measured = await rig.unmeasurable!(driver)
      expect(measured.quality).not.toBe('good')
      expect(Number.isFinite(measured.value)).toBe(false)
    }))

    if (noErrorsBecause === undefined) {
      it('fails the call during which it told an error, and drains the queue', on(async ({ driver, rig }) => {
        rig.instrument.device.fail(new Refusal(-240))
        expect(await codeOf(rig.change(driver))).toBe('INSTRUMENT_ERROR')
        if (
          rig.instrument.device.options.errorQueue !== 'none'
        ) expect(rig.instrument.device.status.errors.size).toBe(0)
        expect(await codeOf(rig.change(driver))).toBe('none')
      }))
    }

    it('fails a change that the instrument did not carry out', on(async ({ driver, rig, session }) => {
      const calls = async (): Promise<string> => codeOf(rig.change(driver))
      rig.instrument.device.faults.set({ kind: 'deaf' })
      expect(await calls()).not.toBe('none')
      rig.instrument.device.faults.clear()
      if (session.state !== 'ready') await session.connect()
      expect(await calls()).toBe('none')
    }))

    if (can.watched) it('stays on while it is asked, and goes off by itself when the link is silent', on(async (
      { driver, rig, clock }
    ) => {
      const pause = (ms: number) => new Promise<void>(resolve => { clock.after(ms, resolve) })
      await rig.watched!(driver, 5)
      for (let i = 0; i < 20; i++) {
        await pause(4500)
        await rig.poll!(driver)
        expect(rig.isSafe!()).toBe(false)
      }
      await pause(4900)
      expect(rig.isSafe!()).toBe(false)
      await pause(200)
      expect(rig.isSafe!()).toBe(true)
    }))

    if (can.energise) it('is safe after its safe-off lines were sent blind, and says so', on(async (
      { driver, rig, session, clock }
    ) => {
      const { safeOff } = driver as unknown as { safeOff: SafeOffStep }
      await rig.energise!(driver)
      expect(rig.isSafe!()).toBe(false)
      await session.safeOff(safeOff.commands)
      await new Promise<void>(resolve => { clock.after(200, resolve) })
      expect(rig.isSafe!()).toBe(true)
      const answer = await session.query(safeOff.verify!.query)
      expect(safeOff.verify!.safe.some(
        safe => typeof safe === 'number' ? Number(answer) === safe : answer === safe
      )).toBe(true)
    }))
  })
}
