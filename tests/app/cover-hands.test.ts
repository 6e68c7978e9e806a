/**
 * Any hands at the cover of a jig, any trouble: whatever the program believes, the simulated physics must show
 * that nothing above touch-safe stood at the terminals while the cover was open or not locked.
 */
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { SeededRandom } from '../../src/base/random.ts'
import { BenchError, asBenchError } from '../../src/base/errors.ts'
import { Enclosure } from '../../src/engine/enclosure.ts'
import { BenchJig } from '../../src/engine/jig.ts'
import { benchFile } from '../../src/schema/bench.ts'
import { residualsOf } from '../../src/screening/residuals.ts'
import { usualRatings } from '../../mocks/components/kinds.ts'
import { makeComponent } from '../../mocks/components/make-component.ts'
import { virtualJig, type VirtualJig } from '../../nights/virtual-jig.ts'

/** SITTINGS=1000 for more. */
const sittings = Number(process.env['SITTINGS'] ?? 60)
const ends = { high: 1, low: 2 } as const

/** The real jig, drivers, keeper and lock over simulated physics, without a session around them. */
async function coveredJig(seed: number) {
  const bench = await virtualJig({ covered: true, seed, instant: true })
  const { clock, sim, keeper, composed: { roles, table } } = bench
  const { jig: spec } = benchFile.parse(sim.benchFile())
  const stop = new AbortController()
  const tripped: string[] = []
  const halt = (why: string): void => {
    void keeper.safeOff(why, 'test')
    stop.abort(new BenchError('TRIPPED', why))
  }
  keeper.onEvent(event => { if (event.type === 'safe-off') stop.abort(new BenchError('TRIPPED', event.report.reason)) })
  const enclosure = new Enclosure({
    clock, signal: stop.signal, interlock: roles.interlock!, board: roles.jig!, spec: spec!.cover!, presenceMs: 3000,
    waits: () => {}, trip: why => { tripped.push(why); halt(why) },
  })
  const jig = new BenchJig({ roles, spec: spec!, clock, signal: stop.signal, residuals: residualsOf(null), enclosure })
  await clock.run(Promise.all(['source', 'second-source', 'jig', 'interlock'].map(async name => await roles[name as 'source']!.prepare())))
  keeper.arm(table, 1000)
  let beating = true
  const beat = (): void => { if (beating) { keeper.beat(enclosure.isSeen); clock.after(250, beat) } }
  beat()
  return { ...bench, jig, enclosure, stop, tripped, halt, rest: () => { beating = false } }
}

type Rig = Awaited<ReturnType<typeof coveredJig>>

/** What hands do next, at random: each by itself, or in the order that starts a test. */
function wander(random: SeededRandom, { sim, clock }: VirtualJig, isOver: () => boolean): void {
  const cover = sim.cover!
  const { switches } = cover
  const acts: (() => void)[] = [
    () => cover.close(), () => { cover.tryOpen() }, () => { switches.present = true }, () => { switches.present = false },
    () => cover.press(random.uniform(20, 500)),
    () => { cover.close(); clock.after(random.uniform(50, 400), () => cover.press(random.uniform(150, 400))) },
    () => {
      cover.close()
      clock.after(250, () => cover.press(250))
      clock.after(random.uniform(250, 900), () => { cover.tryOpen() })
    },
    () => { cover.close(); switches.present = false; clock.after(random.uniform(150, 400), () => cover.press(250)) },
  ]
  const next = (): void => {
    if (isOver()) return
    random.pick(acts)()
    clock.after(random.uniform(10, 700), next)
  }
  next()
}

/** Each comes at any time. */
const troubles: Readonly<Record<string, (rig: Rig) => void>> = {
  none: () => {}, 'none either': () => {}, stop: rig => rig.halt('a person said stop'),
  'source gone': ({ links }) => links.get('smu')!.unplug(), 'contact gone': ({ links }) => links.get('door')!.unplug(),
  'board gone': ({ links }) => links.get('matrix')!.unplug(),
  'contact deaf': ({ sim }) => sim.instrument('door').device.faults.set({ kind: 'deaf' }),
  'contact bounces': ({ sim }) => sim.instrument('door').device.faults.set({ kind: 'cover-bounce', value: 300 }),
  'source deaf': ({ sim }) => sim.instrument('smu').device.faults.set({ kind: 'deaf' }),
  'board deaf': ({ sim }) => sim.instrument('matrix').device.faults.set({ kind: 'deaf' }),
  'source stays on': ({ sim }) => sim.instrument('smu').device.faults.set({ kind: 'output-stays-on' }),
  'source says on': ({ sim }) => sim.instrument('smu').device.faults.set({ kind: 'wrong-answer', match: 'OUTP?', value: '1' }),
  drops: ({ sim }) => sim.drop(),
  'drops and touches again': ({ sim, clock }) => { sim.drop(); clock.after(700, () => sim.touchAgain()) },
  'bleeder breaks': ({ sim }) => { sim.bleederBroken = true },
  'readings stuck': ({ sim }) => sim.instrument('smu').device.faults.set({ kind: 'reading-stuck' }),
}
/** A bleeder wants its board. */
const bleeds = (trouble: string): boolean => !/^(board|bleeder)/.test(trouble)

/** One sitting: three parts at most, one after the other, each charged for a moment. */
async function sitting(seed: number): Promise<{ rig: Rig; charged: number; code: string; trouble: string }> {
  const rig = await coveredJig(seed)
  const { clock, sim, jig } = rig
  const random = new SeededRandom(seed).fork('hands')
  // The contact in the source's own interlock is another layer: here the program stands alone.
  sim.interlockBridged = true
  if (random.next() < 0.5) sim.quietLeads()
  let over = false
  let charged = 0
  wander(random.fork('acts'), rig, () => over)
  const trouble = random.pick(Object.keys(troubles))
  const comes = (withinMs: number): void => { clock.after(random.uniform(0, withinMs), () => { if (!over) troubles[trouble]!(rig) }) }
  const isUnderVolts = random.next() < 0.7
  if (!isUnderVolts) comes(9000)
  const sit = async (): Promise<void> => {
    await jig.open()
    for (let part = 0; part < 2; part++) {
      sim.cover!.tryOpen()
      if (!sim.cover!.isClosed) {
        sim.put(makeComponent('film-capacitor', usualRatings['film-capacitor'], `${seed}-${part}`))
      }
      const seen = await jig.impedance(ends, { frequencyHz: 1000, levelV: 1 })
      await jig.underCover({ pair: ends, volts: 400, seen }, {
        say: text => { if (text.startsWith('it is locked')) clock.after(350, () => sim.cover!.press(300)) },
      }, async () => {
        if (charged++ === 0 && isUnderVolts) comes(1500)
        await jig.charge(ends, { voltageV: 400, limitA: 1e-3, upWithinMs: 1200, readAtMs: [600] })
      }).catch((error: unknown) => { if (asBenchError(error).code !== 'REFUSED') throw error })
    }
  }
  const code = await clock.run(sit().then(() => 'none', (error: unknown) => {
    // As a session does that is cut short.
    rig.halt('it ended')
    return asBenchError(error).code
  }))
  await clock.advance(1500)
  over = true
  rig.rest()
  return { rig, charged, code, trouble }
}

describe('any hands at the cover', () => {
  const seen = { charged: 0, tripped: 0 }

  it('meet nothing above touch-safe while it is open or not locked, whatever goes wrong', () =>
    fc.assert(fc.asyncProperty(fc.integer({ min: 0, max: 1e9 }), async seed => {
      const { rig: { sim }, charged, code, trouble } = await sitting(seed)
      expect(sim.cover!.exposed).toEqual([])
      seen.charged += charged
      if (code === 'TRIPPED') seen.tripped++
      // What is left behind a cover that can be opened is harmless.
      if (!sim.cover!.isLocked) expect(Math.max(sim.heldV, sim.looseV)).toBeLessThan(3)
      // And what is left behind a locked one is soon empty.
      if (bleeds(trouble)) expect(sim.heldV).toBeLessThan(3)
    }), { numRuns: sittings }), 20_000 + 5000 * sittings)

  it('and did have parts charged, and trips, in those sittings', () => {
    expect(seen.charged).toBeGreaterThan(sittings / 3)
    expect(seen.tripped).toBeGreaterThan(sittings / 10)
  })
})
