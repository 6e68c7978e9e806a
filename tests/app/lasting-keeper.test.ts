import { describe, expect, it } from 'vitest'
import { LastingKeeper } from '../../src/app/lasting-keeper.ts'
import { VirtualClock } from '../../src/base/clock.ts'
import type { Keeper, KeeperEvent } from '../../src/keeper/client.ts'
import type { SafeOffTable } from '../../src/keeper/table.ts'

const table: SafeOffTable = { phases: [], refreshes: [], energising: [] }

/** A keeper that notes its orders and dies when told to. */
class MortalKeeper {
  readonly orders: string[] = []
  readonly pid: number
  #listeners: ((event: KeeperEvent) => void)[] = []
  #gone = false
  constructor(pid: number) { this.pid = pid }
  die(): void {
    this.#gone = true
    for (const listener of this.#listeners) listener({ type: 'gone', why: 'told to' })
  }
  keeper(): Keeper & { readonly pid: number } {
    const note = async (order: string): Promise<never> => {
      if (this.#gone) throw new Error('gone')
      this.orders.push(order)
      return {} as never
    }
    return {
      pid: this.pid, port: link => ({ name: link, query: command => note(command), write: command => note(command) }),
      configure: (_table, first) => note(`configure ${first}`), arm: () => note('arm'), beat: () => {},
      disarm: () => note('disarm'), reset: () => note('reset'), safeOff: reason => note(`safe-off ${reason}`),
      mode: () => this.#gone ? 'gone' : 'idle', close: async () => {},
      onEvent: listener => { this.#listeners.push(listener); return () => {} },
    }
  }
}

async function lasting(clock: VirtualClock, startsFail: () => boolean) {
  const made: MortalKeeper[] = []
  const start = async (): Promise<Keeper & { readonly pid: number }> => {
    if (startsFail()) throw new Error('no process to be had')
    const mortal = new MortalKeeper(made.length + 1)
    made.push(mortal)
    return mortal.keeper()
  }
  const log = { error: () => {}, warn: () => {} }
  const keeper = await LastingKeeper.start({ start, benchClock: clock, livenessClock: clock, log })
  await keeper.configure(table)
  return { keeper, made }
}

describe('a lasting keeper', () => {
  it('sends a safe-off asked for in the moment of death to the new keeper, which began with its own', async () => {
    const clock = new VirtualClock()
    await clock.run((async () => {
      const { keeper, made } = await lasting(clock, () => false)
      const port = keeper.port('psu')
      const asked = new Promise(resolve => keeper.onEvent(event => {
        if (event.type === 'gone') resolve(keeper.safeOff('trip'))
      }))
      made[0]!.die()
      await asked
      expect(keeper.pid).toBe(2)
      expect(made[1]!.orders).toEqual(['configure true', 'safe-off trip'])
      await port.write('VOLT 0')
      expect(made[1]!.orders).toContain('VOLT 0')
      await keeper.close()
    })())
  })

  it('tries again until one starts, and lets no stop wait for ever meanwhile', async () => {
    const clock = new VirtualClock()
    await clock.run((async () => {
      let failing = false
      const { keeper, made } = await lasting(clock, () => failing)
      failing = true
      made[0]!.die()
      expect(keeper.mode()).toBe('gone')
      for (const order of [keeper.reset(), keeper.arm(table, 300), keeper.disarm()]) {
        await expect(order).rejects.toMatchObject({ code: 'KEEPER_GONE' })
      }
      await expect(keeper.safeOff('stop')).rejects.toMatchObject({ code: 'KEEPER_GONE' })
      expect(clock.monotonicMs()).toBe(15_000)
      failing = false
      await keeper.safeOff('stop again')
      expect(made[1]!.orders).toEqual(['configure true', 'safe-off stop again'])
      await keeper.close()
    })())
  })

  it('gives up trying when it is closed', async () => {
    const clock = new VirtualClock()
    await clock.run((async () => {
      let failing = false
      const { keeper, made } = await lasting(clock, () => failing)
      failing = true
      made[0]!.die()
      const stop = expect(keeper.safeOff('stop')).rejects.toMatchObject({ code: 'KEEPER_GONE' })
      await keeper.close()
      await stop
      expect(made).toHaveLength(1)
    })())
  })
})
