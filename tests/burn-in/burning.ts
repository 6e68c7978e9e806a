/** Runs of a burn-in on the warm stand, with what is to go wrong and when. */
import { burnInParameters } from '../../src/burn-in/parameters.ts'
import { burnIn } from '../../src/burn-in/run.ts'
import { closeMains, drive } from '../../src/powering/mains.ts'
import { runPower } from '../../src/powering/runner.ts'
import { profile, sittingOn, ways, type SittingOptions } from '../powering/fake-stand.ts'
import { expect } from 'vitest'
import { WarmStand, warmStand } from './warm-stand.ts'

export type Given = Parameters<typeof burnInParameters.parse>[0]
export const hour = 3600
export const tone = (hours: number) => ({ kind: 'tone' as const, forS: hours * hour })

export interface Burning extends SittingOptions {
  readonly seed?: string | number
  readonly parameters?: Record<string, unknown>
  /** Set before the run; timers may change the truth later. */
  readonly set?: (sim: WarmStand, s: Awaited<ReturnType<typeof sittingOn<WarmStand>>>) => void
  readonly stand?: typeof warmStand
}

export async function burning({ seed = 1, parameters = { programme: [tone(4)] }, set = () => {}, stand = warmStand, ...options }: Burning = {}) {
  const s = await sittingOn(new WarmStand(seed), stand, { profile: profile(), ...options })
  set(s.sim, s)
  const asked = burnInParameters.parse(parameters)
  const ended = await s.sim.clock.run(
    runPower(s.handles, (power, sweep) => burnIn(power, sweep, asked)).finally(() => s.stopPulse()))
  const events = await s.events()
  return { s, sim: s.sim, ...ended, events, burnIn: ended.result?.unit?.burnIn, latched: s.handles.power.supervisor.latched }
}

/** After a trip nothing gives energy again, whatever asks for it: by the verbs, and by what was sent. */
export async function expectWithheld({ s, sim }: Awaited<ReturnType<typeof burning>>): Promise<void> {
  const { power } = s.handles
  sim.wrong.loadOpen = false
  expect(() => power.supervisor.permit(0, 0)).toThrow(/withheld/)
  await expect(sim.clock.run(closeMains(power, ways[0]!))).rejects.toThrow(/withheld/)
  power.state.way = ways[0]!
  await expect(sim.clock.run(drive(power, 'left', [{ frequencyHz: 1000, levelV: 0.1 }]))).rejects.toThrow(/withheld/)
  const off = sim.acts.findIndex(({ what }) => what === 'off')
  expect(sim.acts.slice(off).filter(({ what }) => what.startsWith('close') || what === 'drive')).toEqual([])
  expect(sim.isOn).toBe(false)
  expect(sim.driven.get(1)).toBeUndefined()
}

export const texts = (events: readonly { kind: string; text: string }[], kind: string): string[] =>
  events.filter(one => one.kind === kind).map(({ text }) => text)
