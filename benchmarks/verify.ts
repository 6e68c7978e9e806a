/**
 * Where the time of a proof of both channels of the Pavilion amplifier goes: in virtual time what is spent in
 * instruments (their exchanges, records and settling) and what the unit is given (levels, sag, warmth), and beside
 * it what this process computes. Simulated instruments and unit compute in the same process: its time is an upper
 * bound of what the program itself takes.
 */
import { pavilionAmplifier } from '../mocks/units/scenario.ts'
import { proveOnStand } from '../nights/verify-stand.ts'
import { ProfileFolder } from '../src/app/files.ts'
import type { Clock } from '../src/base/clock.ts'

/** Counts the time in which at least one call to any of its roles is under way. */
class Inside {
  ms = 0
  #open = 0
  #sinceMs = 0
  readonly #clock: Clock

  constructor(clock: Clock) { this.#clock = clock }

  of<T extends object>(role: T): T {
    return new Proxy(role, {
      get: (target, key) => {
        const value: unknown = Reflect.get(target, key, target)
        if (typeof value !== 'function') return value
        return (...args: unknown[]): unknown => {
          const given: unknown = (value as (...all: unknown[]) => unknown).apply(target, args)
          return given instanceof Promise ? this.#during(given) : given
        }
      },
    })
  }

  async #during<T>(call: Promise<T>): Promise<T> {
    if (this.#open++ === 0) this.#sinceMs = this.#clock.monotonicMs()
    try {
      return await call
    } finally {
      if (--this.#open === 0) this.ms += this.#clock.monotonicMs() - this.#sinceMs
    }
  }
}

export interface VerifyBench {
  /** From the first patch to the mains open, without what people and warmth take, s. */
  readonly provingS: number
  readonly instrumentsS: number
  /** Of this process, with all that is simulated, s. */
  readonly cpuS: number
  /** The process over all of it: its upper bound outside of instruments and unit. */
  readonly outsideShareMost: number
  readonly figures: number
}

const warmS = 600
const settleS = 30
const peopleS = 10

/** `claims`: so many of those that its profile has. */
export async function measureVerify(claims = Infinity): Promise<VerifyBench> {
  const { profile: whole } = new ProfileFolder(null).unit('saltmarsh-pavilion-amplifier')
  const profile = { ...whole, claims: whole.claims.slice(0, claims) }
  let inside: Inside | undefined
  const started = process.cpuUsage()
  const { stand, told, texts } = await proveOnStand({
    unit: pavilionAmplifier(11).made.world, profile, seed: 11, parameters: { warmS, settleS },
    before: ({ clock }, { power }) => {
      inside = new Inside(clock)
      const { generator, digitizer, load } = power.roles
      Object.assign(power.roles, {
        generator: inside.of(generator!), digitizer: inside.of(digitizer!), load: inside.of(load!),
      })
    },
  })
  if (!texts.includes('ended: run done')) throw new Error(`the proof did not come to its end: ${texts.at(-1)}`)
  const { user, system } = process.cpuUsage(started)
  const events = await stand.store.events('run-1')
  const at = (kind: string, text = ''): number => events.find(one => one.kind === kind && one.text.includes(text))!.atMs / 1000
  const provingS = at('off') - at('hold') - warmS - settleS - peopleS
  const cpuS = (user + system) / 1e6
  return {
    provingS, instrumentsS: inside!.ms / 1000, cpuS, outsideShareMost: cpuS / (provingS + cpuS), figures: told.length,
  }
}
