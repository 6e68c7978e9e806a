/**
 * A part that is charged at the jig, and emptied again through the source that charged it. A zero shows
 * nothing while the source holds it there: the part is left open, and what it then stands at is read.
 */
import type { Clock } from '../base/clock.ts'
import { BenchError } from '../base/errors.ts'
import { formatSi } from '../base/format.ts'
import { harmlessV } from '../safety/dead.ts'
import type { Charge, Charged, Force, Point } from '../schema/jig.ts'

/** What charging needs of the jig. */
export interface ChargePorts {
  readonly clock: Clock
  /** From a new setting to a steady output, ms. */
  readonly settleMs: number
  /** Leads the source to the part; the output is off. */
  lead(): Promise<void>
  /** Nothing is led to the part any more. */
  loose(): Promise<void>
  force(force: Force): Promise<void>
  setOutput(on: boolean): Promise<void>
  measure(): Promise<Point>
  rest(ms: number): Promise<void>
  /**
   * The part may hold so much from now on, V, for so long, ms. The source is switched on when this has
   * resolved.
   */
  holds(volts: number, forMs: number): Promise<void>
  /** The terminals were seen to stand at harmless volts: whether the part is still there is not shown yet. */
  low(): void
  /** What was charged is not at the terminals any more, or the source does not reach it. */
  lost(): void
}

/** While the limit decides, this often, growing. */
const pollMs = { first: 20, growth: 1.5, most: 1000 } as const
/** Held at zero for a tenth of the time it was charged, within these, ms: late charge takes its time. */
const soakMs = { share: 0.1, least: 500, most: 30_000 } as const
/** Left open before it is looked at, ms. */
export const openMs = 500
const roundsMax = 4
/** Discharging takes no longer than charging, unless more came in than was asked for. */
const emptyFactor = 3

export async function chargeAndEmpty(ports: ChargePorts, charge: Charge): Promise<Charged> {
  let result: { value: Omit<Charged, 'leftV'> } | { error: unknown }
  try {
    result = { value: await charged(ports, charge) }
  } catch (error) {
    result = { error }
  }
  let leftV = NaN
  try {
    leftV = await emptyThere(ports, charge)
  } catch (error) {
    if ('value' in result) result = { error }
  } finally {
    // Whatever became of it: the first error is told, and the output is off.
    await ports.setOutput(false).catch((error: unknown) => {
      if ('value' in result) result = { error }
    })
  }
  if ('error' in result) throw result.error
  return { ...result.value, leftV }
}

async function charged(ports: ChargePorts, charge: Charge): Promise<Omit<Charged, 'leftV'>> {
  await ports.lead()
  await ports.force({ voltageV: charge.voltageV, limitA: charge.limitA })
  if (Math.abs(charge.voltageV) >= harmlessV) {
    await ports.holds(Math.abs(charge.voltageV), charge.upWithinMs + Math.max(0, ...charge.readAtMs))
  }
  await ports.setOutput(true)
  const last = await untilFree(ports, charge.upWithinMs)
  if (last.limited) return { isUp: false, points: [last], recovered: null }
  const upMs = ports.clock.monotonicMs()
  const points: Point[] = []
  for (const atMs of charge.readAtMs) {
    await ports.rest(Math.max(0, upMs + atMs - ports.clock.monotonicMs()))
    points.push(await ports.measure())
  }
  return { isUp: true, points, recovered: await recovered(ports, charge) }
}

/** Reads until the set volts and not the limit decide, or until time is out: the last reading. */
export async function untilFree(
  ports: Pick<ChargePorts, 'clock' | 'settleMs' | 'rest' | 'measure'>, withinMs: number,
): Promise<Point> {
  const untilMs = ports.clock.monotonicMs() + withinMs
  let waitMs: number = Math.max(pollMs.first, ports.settleMs)
  for (;;) {
    await ports.rest(waitMs)
    const point = await ports.measure()
    if (!point.limited || ports.clock.monotonicMs() >= untilMs) return point
    waitMs = Math.min(pollMs.most, waitMs * pollMs.growth)
  }
}

async function recovered(ports: ChargePorts, charge: Charge): Promise<Point | null> {
  if (!charge.recovery) return null
  await ports.force({ voltageV: 0, limitA: charge.limitA })
  await untilFree(ports, emptyFactor * charge.upWithinMs)
  await ports.rest(charge.recovery.shortMs)
  return lookOpen(ports, charge, charge.recovery.openMs)
}

/** Open for so long, then its volts, with no current from the source but its own error. */
async function lookOpen(ports: ChargePorts, { voltageV }: Charge, forMs: number): Promise<Point> {
  await ports.setOutput(false)
  await ports.loose()
  await ports.rest(forMs)
  await ports.lead()
  await ports.force({ currentA: 0, limitV: Math.max(Math.abs(voltageV), harmlessV) })
  await ports.setOutput(true)
  await ports.rest(ports.settleMs)
  const point = await ports.measure()
  await ports.setOutput(false)
  return point
}

async function emptyThere(ports: ChargePorts, charge: Charge): Promise<number> {
  const { leftV, seen } = await empty(ports, charge)
  if (leftV !== null) return leftV
  ports.lost()
  const what = 'what was charged left the jig, or the source does not reach it'
  throw new BenchError('TRIPPED', what, notBelow(seen))
}

/**
 * What it still stands at, open; null where nothing is there. Rejects where it is not shown to be harmless.
 */
async function empty(
  ports: ChargePorts, charge: Charge, openedMs: number = openMs,
): Promise<{ leftV: number | null; seen: string }> {
  const chargedMs = Math.max(0, ...charge.readAtMs)
  let restMs = Math.min(soakMs.most, Math.max(soakMs.least, soakMs.share * chargedMs))
  let seen = 'nothing'
  for (let round = 0; round < roundsMax; round++, restMs *= 2) {
    await ports.setOutput(false)
    await ports.lead()
    await ports.force({ voltageV: 0, limitA: charge.limitA })
    await ports.setOutput(true)
    await untilFree(ports, emptyFactor * charge.upWithinMs)
    await ports.rest(restMs)
    const { voltage } = await lookOpen(ports, charge, openedMs)
    seen = voltage.quality === 'good' ? formatSi(Math.abs(voltage.value), 'V', 3) : voltage.quality
    if (voltage.quality === 'good' && Math.abs(voltage.value) + 2 * voltage.u < harmlessV) {
      ports.low()
      return { leftV: Math.abs(voltage.value), seen }
    }
  }
  if (await isGone(ports, charge)) return { leftV: null, seen }
  throw new BenchError('TRIPPED', 'what lies in the jig does not discharge', notBelow(seen))
}

const notBelow = (got: string): { expected: string; got: string } =>
  ({ expected: `below ${formatSi(harmlessV, 'V')}`, got })

/** Current of the source while it shows that the terminals are dead, A. */
export const deadA = 1e-3

/**
 * What lies at the terminals, if anything does, is emptied, and seen to stand at harmless volts `openMs`
 * after, open; rejects where it is not. `volts`: the most that it may stand at; `heldMs`: for how long.
 */
export async function showEmpty(
  ports: ChargePorts, { volts, heldMs, openMs }: { volts: number; heldMs: number; openMs: number },
): Promise<void> {
  try {
    await empty(ports, { voltageV: volts, limitA: deadA, upWithinMs: 1000, readAtMs: [heldMs] }, openMs)
    // What drifts where nothing lies is no charge.
    ports.low()
  } finally {
    await ports.setOutput(false)
    await ports.force({ voltageV: 0, limitA: deadA })
  }
}

/** Right after it was held at zero nothing that has capacitance stands at volts: nothing is there. */
async function isGone(ports: ChargePorts, charge: Charge): Promise<boolean> {
  await ports.force({ voltageV: 0, limitA: charge.limitA })
  await ports.setOutput(true)
  await ports.rest(ports.settleMs)
  await ports.setOutput(false)
  await ports.force({ currentA: 0, limitV: Math.max(Math.abs(charge.voltageV), harmlessV) })
  await ports.setOutput(true)
  await ports.rest(ports.settleMs)
  const { voltage } = await ports.measure()
  return voltage.quality === 'good' && Math.abs(voltage.value) >= harmlessV
}
