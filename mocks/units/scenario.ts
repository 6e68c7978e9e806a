/** The units of the demo: our own invention. Their seeds decide all that is hidden. */
import { makeUnit, type MadeUnit } from './make-unit.ts'
import type { UnitFault } from './faults.ts'

export interface UnitScenario {
  readonly name: string
  readonly description: string
  readonly made: MadeUnit
  /** What is wrong with it, one sentence for a person. */
  readonly truth: string
}

/** One sentence for each fault. */
export const faultWords: Readonly<Record<UnitFault, string>> = {
  'offset-drift': 'its DC at the output wanders away as it warms',
  'dry-output-capacitor': 'its output capacitor has dried out: no bass, and more resistance in line',
  runaway: 'its idle current rises with heat faster than the heatsink can carry it away',
  'hum-loop': 'a loop through the earth hums at its input',
  'weak-channel': 'one channel gives less than the other',
  intermittent: 'a bad joint drops one channel now and then',
  'wrong-claim': 'it is sound, but one printed figure promises more than it can do',
  'shorted-output': 'an output device is shorted',
  'open-bleeder': 'the bleeder of one rail is open: that rail stands after mains off',
  'rail-fuse-open': 'the fuse of one rail is open: only the other comes up',
  'bias-high': 'it idles with several times the current that it should',
  'bias-low': 'it idles with almost no current, and crosses over harshly',
  'cold-oscillation': 'it oscillates far above hearing until it is warm',
  'mains-short': 'its mains transformer is shorted',
  'leaking-coupling': 'a coupling capacitor leaks as it warms, and DC comes to the output',
  'hot-sensor': 'the sensor on its heatsink has come loose and shows half of the rise',
}

const wordsOf = (faults: readonly UnitFault[]): string =>
  faults.length === 0 ? 'sound' : faults.map(fault => faultWords[fault]).join('; ')

/**
 * The amplifier of the Saltmarsh Pavilion's public-address rack, 1974: two channels, solid state, 40 W each
 * into a 100 V line through transformers.
 */
export function pavilionAmplifier(seed: number, faults: readonly UnitFault[] = []): UnitScenario {
  const made = makeUnit('public-address', `pavilion ${seed}`, {
    faults, name: 'saltmarsh-pavilion-amplifier',
    design: { channels: ['bandstand', 'tea-room'], ratedW: 40, loadOhm: 250, railV: 34, sensitivityV: 0.775 },
  })
  return {
    name: 'saltmarsh-pavilion-amplifier', made, truth: wordsOf(faults),
    description: 'The amplifier of the Saltmarsh Pavilion public-address rack, 1974, simulated',
  }
}

/** The small valve amplifier beside it, on which the engineer listened to what went out: 8 W, one channel. */
export function monitorAmplifier(seed: number, faults: readonly UnitFault[] = []): UnitScenario {
  const made = makeUnit('valve', `monitor ${seed}`, {
    faults, name: 'saltmarsh-pavilion-monitor',
    design: { channels: ['monitor'], ratedW: 8, loadOhm: 15, railV: 310, sensitivityV: 0.4 },
  })
  return {
    name: 'saltmarsh-pavilion-monitor', made, truth: wordsOf(faults),
    description: 'The valve monitor amplifier of the Saltmarsh Pavilion rack, simulated',
  }
}
