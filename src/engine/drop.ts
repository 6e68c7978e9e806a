/** Takes one position out of the run and proves that it went: the rest of the rack goes on. */
import { sleep } from '../base/clock.ts'
import type { Demand } from '../safety/supervisor.ts'
import type { RelayBoard } from '../schema/roles.ts'
import { release } from './bus.ts'
import { followDischarge } from './discharge.ts'
import type { Night } from './night.ts'
import { partVolts } from './position.ts'
import type { PositionState } from './position.ts'

/** Current that still flows into a released part, as a share of a short, shows a relay that did not open. */
const stuckShare = 0.1

/** Releases `position` at once; resolves when it is measured touch-safe, or its words say that it is not. */
export async function dropPosition(night: Night, position: PositionState, demand: Pick<Demand, 'text' | 'atMs'>): Promise<void> {
  if (position.stage === 'dropped' && position.wiring === 'released') return
  const { name } = position.spec
  const releaseV = partVolts(night.bench.fixture, position, night.state.watching)
  position.stage = 'dropped'
  position.note = demand.text
  position.touch = 'NOT SAFE TO TOUCH: UNMEASURED'
  night.supervisor.release(name)
  await release(night, [position])
  await sleep(night.clock, (night.roles.positions as RelayBoard).settleMs)
  const disconnectedMs = night.clock.monotonicMs() - demand.atMs
  night.sampler.hurry(20_000, 300)
  void night.recorder.event({
    kind: 'drop', severity: 'warning', position: name,
    text: `${name} off the bus ${disconnectedMs.toFixed(0)} ms after the reading: ${demand.text}`,
    data: { faultToDisconnectedMs: disconnectedMs },
  }).catch(() => {})
  await Promise.all([checkReleased(night, position), followDischarge(night, position, releaseV, demand.atMs)])
}

/** One scan later no current may flow into the part; otherwise the relay is welded and the bench stops. */
async function checkReleased(night: Night, position: PositionState): Promise<void> {
  const channel = night.channels.current[position.index]!
  const first = await night.waiters.next(channel, night.clock.monotonicMs(), night.reading)
  const second = await night.waiters.next(channel, first.atMs, night.reading)
  const shortA = (night.sampler.busV?.value ?? 0) / (night.bench.fixture.limitOhm + night.bench.fixture.senseOhm)
  if (second.value < Math.max(stuckShare * shortA, 3 * second.u, 1e-6)) return
  night.fault(`${position.spec.name}.welded`,
    `${position.spec.name} still takes ${(1e3 * second.value).toFixed(3)} mA one scan after its release`)
}
