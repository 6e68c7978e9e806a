/** Takes one position out of the run and proves that it went: the rest of the rack goes on. */
import { sleep } from '../base/clock.ts'
import type { Demand } from '../safety/supervisor.ts'
import { allowRecharge, release, silenceMs } from './bus.ts'
import { changedOver } from './bleed.ts'
import { followDischarge } from './discharge.ts'
import { judgesPositions } from '../schema/run.ts'
import type { Night } from './night.ts'
import type { PositionState } from './position.ts'
import { ownVolts } from './standing.ts'
import { flowsIn, mayBeMisrouted } from './stray.ts'

/**
 * Releases `position` at once and resolves when its relay has moved. What follows (one scan later nothing may
 * flow into it, and it is followed down to touch-safe) goes on in `night.drops`.
 */
export async function dropPosition(
  night: Night, position: PositionState, demand: Pick<Demand, 'text' | 'atMs' | 'verdict'>,
): Promise<void> {
  if (night.drops.has(position)) return
  const { name } = position.spec
  const releaseV = ownVolts(night, position)
  const { current } = position
  if (current?.quality === 'good') position.leftWith = { amps: current.value, uA: current.u, volts: releaseV }
  let left: () => void = () => {}
  const released = new Promise<void>(resolve => { left = resolve })
  const inFormal = position.stage === 'formal'
  night.drops.set(position, released.then(async () => {
    await prove(night, position, releaseV, demand.atMs)
    if (!inFormal) keepVerdict(night, position, demand)
  }))
  position.stage = 'dropped'
  position.note = demand.text
  night.supervisor.release(name)
  allowRecharge(night)
  try {
    await release(night, [position])
    await sleep(night.clock, night.roles.positions?.settleMs ?? 0)
    tellDrop(night, name, demand)
  } finally {
    left()
  }
}

/**
 * What a drop says of its part is on record once the part has bled: whatever ends the run, it stands until
 * the run grades the part. Nothing is kept of a formal reading, which the run alone can judge, nor where the
 * part bled from what its current cannot have let it stand at; and a sequence that judges positions has
 * nothing to say of parts.
 */
function keepVerdict(
  night: Night, position: PositionState, { verdict, text }: Pick<Demand, 'text' | 'verdict'>,
): void {
  if (verdict === undefined || judgesPositions(night.plan)) return
  if (verdict.grade === 'reject' && bledFromMore(position, night.plan.targetV)) return
  void night.recorder.result({
    position: position.spec.name, part: position.part.part, profile: position.profile.name, ...verdict,
    provisional: false, pConform: NaN, reason: text, criteria: [], figures: leftFigures(position, night),
  }).catch(() => {})
}

/** What it took when it left, and at which set-point. */
function leftFigures({ leftWith }: PositionState, { state: { setV } }: Night): Record<string, number> {
  return {
    ...setV > 0 && { leftAtV: setV },
    ...leftWith && { leftCurrentA: leftWith.amps, leftCurrentU: leftWith.uA },
    ...leftWith && leftWith.volts !== null && { leftPartV: leftWith.volts },
  }
}

function tellDrop(night: Night, name: string, demand: Pick<Demand, 'text' | 'atMs'>): void {
  const disconnectedMs = night.clock.monotonicMs() - demand.atMs
  night.sampler.hurry(20_000, 300)
  void night.recorder.event({
    kind: 'drop', severity: 'warning', position: name,
    text: `${name} off the bus ${disconnectedMs.toFixed(0)} ms after the reading: ${demand.text}`,
    data: { faultToDisconnectedMs: disconnectedMs },
  }).catch(() => {})
}

async function prove(
  night: Night, position: PositionState, releaseV: number | null, atMs: number,
): Promise<void> {
  try {
    await changedOver(night)
    await Promise.all([
      checkReleased(night, position), followDischarge(night, position, releaseV, atMs, atMs),
    ])
  } catch (error) {
    // Reading ends when the run has ended; nothing is left to prove then.
    if (!night.reading.aborted) {
      night.fault(`${position.spec.name}.drop`, `drop failed: ${(error as Error).message}`)
    }
  }
}

/** One scan later no current may flow into the part; otherwise the relay is welded and the bench stops. */
async function checkReleased(night: Night, position: PositionState): Promise<void> {
  const { name } = position.spec
  const channel = night.channels.current[position.index]!
  const wait = { withinMs: silenceMs(night), signal: night.reading }
  const first = await night.waiters.next(channel, { ...wait, afterMs: night.clock.monotonicMs() })
  const second = first && await night.waiters.next(channel, { ...wait, afterMs: first.atMs })
  if (second === null) {
    return night.fault(`${name}.unseen`, `${name} was released, and no good reading shows that it went`)
  }
  if (!flowsIn(second)) return
  // Its relay is welded, or this is another part's current: then none is known to be its own.
  mayBeMisrouted(night, `${name} was released and still took current`)
  night.fault(`${name}.welded`,
    `${name} still takes ${(1e6 * second.value).toPrecision(3)} µA one scan after its release`)
}

/**
 * What a part bleeds from may differ by this share of the target from what its current told: a modelling
 * choice.
 */
const bridgedShare = 0.2

/**
 * Behind the limiting resistor a part that takes much stands low. One that then bleeds from far higher was
 * fed past the resistor: by a formal relay that is welded, which says nothing of the part.
 */
export function bledFromMore({ leftWith, bledV }: PositionState, targetV: number): boolean {
  const volts = leftWith?.volts ?? null
  return volts !== null && bledV !== null && bledV >= Math.max(0, volts) + bridgedShare * targetV
}
