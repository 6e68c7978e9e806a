/**
 * Whether the bleeder of a covered jig lies across the terminals, and its relay takes it off: told by what it
 * alone changes. What else lies there draws current too, and one that charges late draws less and less: read
 * with the bleeder, without, and with it again, that leaves the difference alone.
 */
import { BenchError } from '../base/errors.ts'
import { formatSi } from '../base/format.ts'
import { deadA, untilFree, type ChargePorts } from './jig-charge.ts'

/** Harmless to whatever lies there, V. */
const volts = 2
/** Of what it takes by its value: resistors of some per cent, and the errors of two readings (ours). */
const share = { least: 0.8, most: 1.25 } as const
/** Late charge dies away, ms: first, and where that was too short for what lies there. */
const restsMs = [500, 5000] as const
/** A part of some thousand microfarads comes up to these volts in that time, ms. */
const upMs = 30_000

export interface BleederPorts extends Omit<ChargePorts, 'lead' | 'loose'> {
  /** Leads the source to the terminals, with the bleeder across them or not; the output is off. */
  lead(across: boolean): Promise<void>
}

/** Rejects TRIPPED where it is not there, or cannot be told beside what lies at the terminals. */
export async function showBleeder(ports: BleederPorts, bleederOhm: number): Promise<void> {
  let found = NaN
  try {
    for (const restMs of restsMs) {
      found = await drawnByBleeder(ports, restMs) * bleederOhm / volts
      if (found >= share.least && found <= share.most) return
    }
  } finally {
    await ports.setOutput(false)
    await ports.force({ voltageV: 0, limitA: deadA })
  }
  const meantA = volts / bleederOhm
  const [leastA, mostA] = [share.least * meantA, share.most * meantA]
  throw new BenchError('TRIPPED', 'the bleeder does not lie across the terminals, or does not leave them', {
    expected: `${formatSi(leastA, 'A', 3)} to ${formatSi(mostA, 'A', 3)} by it alone`,
    got: formatSi(found * meantA, 'A', 3),
  })
}

/** What flows because of it, A. */
async function drawnByBleeder(ports: BleederPorts, restMs: number): Promise<number> {
  const read: number[] = []
  for (const across of [true, false, true]) {
    await ports.setOutput(false)
    await ports.lead(across)
    read.push(await drawn(ports, restMs))
  }
  const [before, without, after] = read as [number, number, number]
  return (before + after) / 2 - without
}

async function drawn(ports: BleederPorts, restMs: number): Promise<number> {
  await ports.force({ voltageV: volts, limitA: deadA })
  await ports.setOutput(true)
  const { limited } = await untilFree(ports, upMs)
  await ports.rest(restMs)
  const { current, limited: isLimited } = await ports.measure()
  if (limited || isLimited) {
    const what = 'the bleeder cannot be told beside what lies at the terminals: take it out'
    throw new BenchError('TRIPPED', what, {
      expected: `less than ${formatSi(deadA, 'A')} at ${formatSi(volts, 'V')}`, got: 'more',
    })
  }
  return current.quality === 'good' ? current.value : NaN
}
