/** Whatever ends a proof, the generator is muted, the mains is open, and nothing is driven afterwards. */
import { describe, expect, it } from 'vitest'
import { SimLoadBank } from '../../mocks/instruments/load-bank.ts'
import { proveOnStand, type Proof, type ProofEnd } from '../../nights/verify-stand.ts'
import type { VirtualStand } from '../../nights/virtual-stand.ts'
import type { PowerHandles } from '../../src/powering/runner.ts'
import { BenchError } from '../../src/base/errors.ts'
import { drawn, pavilion, type Shipped } from './units.ts'

const claims = ['gain 42 dB ± 1.5 dB', '40 W into a 100 V line at 2 %']
const monitorClaims = ['8 watts into 15 ohms at 3 % distortion, 1 kHz']

const sound = (which: Shipped): Proof => pavilion(31, { claims: which === 'amplifier' ? claims : monitorClaims, which })

interface Broken { readonly end: ProofEnd; readonly atMs: number; readonly handles: PowerHandles }
type Act = (stand: VirtualStand, handles: PowerHandles) => void

/** Does `act` once `isTime`, and gives when that was. */
async function broken(isTime: (handles: PowerHandles) => boolean, act: Act, proof: Proof = sound('amplifier')): Promise<Broken> {
  let [atMs, handles]: [number, PowerHandles | undefined] = [NaN, undefined]
  const end = await proveOnStand({
    ...proof,
    before: (stand, given) => {
      handles = given
      const look = (): void => {
        if (given.power.state.ending) return
        if (!isTime(given)) { stand.clock.after(50, look); return }
        atMs = stand.clock.monotonicMs()
        act(stand, given)
      }
      look()
    },
  })
  return { end, atMs, handles: handles! }
}
const searching = ({ power: { state } }: PowerHandles): boolean => state.stage.includes('output power') && state.driven.size > 0
const inLoop = ({ power: { state } }: PowerHandles): boolean => state.driven.size > 0 && state.way === null
const warming = ({ power: { state } }: PowerHandles): boolean => state.stage === 'warming up'

/** It tripped when it should; and what is withheld from then on. */
function isOff({ end: { stand, state, isDead, texts, latched, result }, atMs }: Broken, how: 'tripped' | 'stopped', why: RegExp): void {
  expect(state, texts.join('\n')).toBe(how)
  // What was measured until then is kept, and accepts nothing.
  expect(result?.grade).not.toBe('accept')
  expect(how === 'stopped' ? texts.join('\n') : latched).toMatch(why)
  const { sim } = stand
  expect([sim.isOn, isDead]).toEqual([false, true])
  const { generator, contactor } = sim.instruments
  const lets = generator.device.effects.list()
  const mains = contactor.device.effects.list('mains')
  const off = mains.find(({ atMs: at, value }) => at > atMs && value === 0)
  // Before mains ever came there is nothing to open.
  if (mains.findLast(({ atMs: at }) => at <= atMs)?.value === 1) expect(off).toBeDefined()
  const offMs = off?.atMs ?? atMs
  // Within the reaction that the keeper is held to, and never again.
  expect(offMs - atMs).toBeLessThan(10_000)
  expect(lets.filter(({ atMs: at, value }) => at > offMs && value === 1)).toEqual([])
  for (const output of ['output-1', 'output-2']) expect(generator.device.effects.last(output)?.value ?? 0).toBe(0)
  expect(contactor.device.effects.list('mains').filter(({ atMs: at, value }) => at > offMs && value === 1)).toEqual([])
}

/** Its contact opens by itself, and its relay reads so. */
const opens: Act = ({ sim: { instruments: { loads } } }) => { if (loads instanceof SimLoadBank) loads.connect(1, null) }

describe('a proof that is broken off', { timeout: 180_000 }, () => {
  it('by DC at an output', async () => {
    const direct = drawn('solid-state', 35, ['gain 30 dB ± 20 dB', '5 W into 8 ohms at 1 %'])
    const act: Act = ({ sim }) => { sim.unit.truth.channels[0]!.offset.at25V = 3; sim.unit.channels[0]!.changed() }
    isOff(await broken(searching, act, direct), 'tripped', /DC at the output/)
  })
  it('by a load that opens under drive', async () => {
    isOff(await broken(searching, opens),
      'tripped', /load of bandstand (reads|stands) open/)
  })
  it('by a load that opens under a valve stage that only warms up', async () => {
    isOff(await broken(warming, opens, sound('monitor')),
      'tripped', /load of monitor stands open, under a valve stage/)
  })
  it('by a person who stops it in a search', async () => {
    isOff(await broken(searching, (_, handles) => {
      void handles.power.guard.safeOff('stop')
      handles.abort(new BenchError('STOPPED', 'a person stopped it'))
    }), 'stopped', /run stopped/)
  })
  it('by the cover', async () => {
    isOff(await broken(searching, ({ sim }) => { sim.switches.coverClosed = false }), 'tripped', /cover/)
  })
  it('by a digitizer that goes silent in a search, and says so', async () => {
    isOff(await broken(searching, ({ sim }) => sim.instruments.digitizer.device.faults.set({ kind: 'silent' })), 'tripped', /digitizer/)
  })
  it('by a digitizer that never triggers in loop-back, and says so', async () => {
    const found = await broken(inLoop, ({ sim }) => sim.instruments.digitizer.device.faults.set({ kind: 'never-triggers' }))
    isOff(found, 'tripped', /no record came/)
    expect(found.end.stand.sim.instruments.contactor.device.effects.list('mains').filter(({ value }) => value === 1)).toEqual([])
  })
  it('by a generator that answers no more: the mains goes all the same', async () => {
    isOff(await broken(searching, ({ sim }) => sim.instruments.generator.device.faults.set({ kind: 'silent' })), 'tripped', /generator|muted/)
  })
})

describe('the patch', { timeout: 180_000 }, () => {
  const holdsOf = ({ texts }: ProofEnd): number => texts.filter(text => text.startsWith('hold: ')).length
  it('is asked for again where the generator is not heard, and refused in the end; mains stays open', async () => {
    const { state, texts, stand } = await proveOnStand({
      ...pavilion(32, { claims }), before: ({ sim }) => { sim.obey = () => {} },
    })
    expect([state, holdsOf({ texts } as ProofEnd)]).toEqual(['refused', 5])
    expect(texts.join('\n')).toMatch(/of \d+ mV from generator 1 digitizer 1 hears/)
    expect(stand.sim.instruments.contactor.device.effects.list('mains').filter(({ value }) => value === 1)).toEqual([])
  })
  it('into the unit is asked for again while the digitizer still hears the generator', async () => {
    let asked = 0
    const end = await proveOnStand({
      ...pavilion(33, { claims: [claims[0]!] }), before: ({ sim }) => {
        const { obey } = sim
        sim.obey = id => { if (id !== 'patch.unit' || ++asked > 2) obey.call(sim, id) }
      },
    })
    expect([end.state, holdsOf(end), end.result?.grade]).toEqual(['done', 4, 'accept'])
    expect(end.texts.join('\n')).toMatch(/digitizer 1 still hears generator 1 though the unit is off/)
  })
  it('never changes while anything may be live: mains is open and dead at every hold point', async () => {
    const live: boolean[] = []
    const end = await proveOnStand({
      ...pavilion(34, { claims: [claims[0]!] }), before: ({ sim }) => {
        const { obey } = sim
        sim.obey = id => {
          live.push(sim.isOn || sim.highestV() > 60 || sim.unit.channels.some(({ tones }) => tones.length > 0))
          obey.call(sim, id)
        }
      },
    })
    expect([end.state, live]).toEqual(['done', [false, false]])
  })
})
