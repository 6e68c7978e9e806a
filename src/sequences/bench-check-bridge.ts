/**
 * The relays that lead to the bridge. With none of them held the bridge must see nothing: that is
 * looked at before any voltage, because a welded one would lay the bridge across whatever its part
 * stands at when it leaves the bus. With one held it must see the test part, after proof of dead; and
 * nothing where nothing sits.
 */
import { BenchError, catalogue } from '../base/errors.ts'
import { connect, release } from '../engine/bus.ts'
import type { Night } from '../engine/night.ts'
import type { PositionState } from '../engine/position.ts'
import type { Bridge, BridgeReading } from '../schema/roles.ts'
import { judge, yesNo } from './bench-check-judge.ts'
import type { Check } from './bench-check-judge.ts'
import type { Round } from './bench-check-round.ts'
import { isDummy, isEmpty, living, namesOf, note, soundParts } from './bench-check-round.ts'
import { bridgeReading } from './bridge.ts'

/** Holders and leads stay far below it, and every part far above (common practice). */
const strayMostF = 1e-9
const levelV = 0.5
/** A part that leaves a welded line for the bus takes this share of the reading with it. */
const leavesShare = 0.1
/** Empty positions are looked at for about this long. */
const emptyMostS = 120

/** False where the bridge sees something though no relay of its own is held: then no voltage may follow. */
export async function checkBridgeLine(round: Round): Promise<boolean> {
  const { night } = round
  const { bridge } = night.roles
  if (!bridge) return true
  const before = await measure(night, bridge)
  if (note(round, openCheck(null, 'bridge sees nothing while its relays are released', before))) return true
  if (typeof before === 'string') return false
  await blame(round, bridge, farads(before))
  return false
}

/**
 * Whose relay it is that leads to the bridge: the reading falls as its part leaves for the bus. Where no part
 * explains it, it may be any whose part was not seen to leave it as it was.
 */
async function blame(round: Round, bridge: Bridge, beforeF: number): Promise<void> {
  const { night } = round
  let suspects = fittedOf(night)
  for (const position of soundParts(round)) {
    await connect(night, [position])
    const without = await measure(night, bridge)
    await release(night, [position])
    if (typeof without === 'string') continue
    if (farads(without) <= (1 - leavesShare) * beforeF) return stuck(round, position)
    suspects = suspects.filter(other => other !== position)
  }
  for (const position of suspects) stuck(round, position, 'may not open: the bridge sees something')
}

/** On record by its position: whatever sits there next would meet the bridge as it leaves the bus. */
function stuck(round: Round, position: PositionState, how = 'does not open (welded)'): void {
  const why = `the bridge relay ${how}`
  note(round, { position, what: opens, criterion: yesNo(false, why) }, why)
}
const opens = 'bridge relay opens'

const fittedOf = (night: Night): PositionState[] =>
  living(night).filter(({ spec }) => spec.bridgeRelay !== undefined)

/** Parts that were seen to be discharged, one after the other; then that the bridge sees nothing again. */
export async function checkBridges(round: Round): Promise<void> {
  const { night, unshown } = round
  const { bridge } = night.roles
  if (!bridge) { unshown.push('the bench has no bridge'); return }
  const fitted = fittedOf(night)
  const shownParts = soundParts(round)
    .filter(position => round.bleeders.has(position) && fitted.includes(position))
  for (const position of shownParts) {
    const seen = await bridgeReading(night, position)
    if (seen === null || !note(round, partCheck(position, seen), partWords(seen))) continue
    const after = await measure(night, bridge)
    // The first that leaves something on the line stays on it, and nothing more is shown of any.
    if (!note(round, openCheck(position, opens, after), 'the bridge relay does not open (welded)')) return
  }
  // What takes a current may hold a part that nobody named, on a path that nothing was shown of.
  const empty =
    fitted.filter(position => isEmpty(position) && !isDummy(night, position) && !round.faults.has(position))
  const looked = empty.slice(0, Math.max(1, Math.floor(emptyMostS / night.plan.sweepS)))
  for (const position of looked) {
    const seen = await bridgeReading(night, position)
    if (seen === null) continue
    note(round, openCheck(position, 'bridge sees nothing in an empty position', seen),
      'the bridge relay leads elsewhere')
  }
  note(round, openCheck(null, 'bridge relays open again', await measure(night, bridge)))
  const unseen = fitted.filter(position => !shownParts.includes(position))
  if (unseen.length === 0) return
  unshown.push(`whether the bridge relays of ${namesOf(unseen)} close: no test part there that passed`)
  unshown.push('whether a bridge relay of an empty position is welded: the bridge sees nothing either way')
}

function partWords(seen: BridgeReading | string): string {
  if (typeof seen === 'string') return seen
  if (farads(seen) < strayMostF) return 'the bridge relay does not close, or its leads are open'
  return `the bridge reads ${(1e6 * farads(seen)).toPrecision(3)} µF: `
    + 'not the test part of the rack list, or not a sound one'
}

/** Beyond its tolerance, by absorption and age: the relay leads to the test part all the same. */
const agedShare = 0.1

/** The test part, near the tolerance of its profile. */
export function partCheck(position: PositionState, seen: BridgeReading | string): Check {
  const { capacitanceF, toleranceMinus, tolerancePlus } = position.profile
  if (typeof seen === 'string') return unmade(position, 'bridge relay', seen)
  const { value, u, quality } = seen.capacitance
  const good = quality === 'good' ? { value, u } : { value: 0, u: 0 }
  return {
    position, what: 'bridge relay',
    criterion: judge('capacitance', good, 'F',
      {
        low: capacitanceF * (1 - toleranceMinus - agedShare),
        high: capacitanceF * (1 + tolerancePlus + agedShare),
      },
      `tolerance of the test part, and ${100 * agedShare} % of its value`),
  }
}

const unmade = (position: PositionState | null, what: string, why: string): Check =>
  ({ position, what, criterion: yesNo(false, why), isMade: false })

/** A bridge that finds nothing to measure says so; one that reads strays reads little. */
export function openCheck(position: PositionState | null, what: string, seen: BridgeReading | string): Check {
  if (typeof seen === 'string') return unmade(position, what, seen)
  const { value, u, quality } = seen.capacitance
  if (quality !== 'good') return { position, what, criterion: yesNo(true, 'nothing to measure') }
  const source = `it reads ${(1e6 * value).toPrecision(3)} µF: a relay that leads to it is welded`
  return { position, what, criterion: judge('capacitance', { value, u }, 'F', { high: strayMostF }, source) }
}

const farads = ({ capacitance: { value, quality } }: BridgeReading): number => quality === 'good' ? value : 0

/** With its relays as they are; words where it does not answer. */
async function measure(night: Night, bridge: Bridge): Promise<BridgeReading | string> {
  const part = night.positions.find(position => !isEmpty(position))
  try {
    return await bridge.measure({ frequencyHz: (part ?? night.positions[0]!).profile.bridgeHz, levelV })
  } catch (error) {
    const isLost = error instanceof BenchError && ['link', 'instrument'].includes(catalogue[error.code].kind)
    if (night.signal.aborted || !isLost) throw error
    return error.message
  }
}
