/** What a capacitor asks of the bench: its bridge, and where it is charged, volts, time and energy. Pure. */
import { formatDuration, formatSi } from '../base/format.ts'
import type { JigReach } from '../schema/jig.ts'
import { capacitorConditions } from './methods/capacitor.ts'
import { chargingOf, type Charged } from './methods/charging.ts'
import { nearestHz } from './methods/reactive.ts'
import { bridgeOf, noBridge, noSource, type Lack, type PlanBounds, type Wants } from './plan.ts'
import type { Capacitor } from './to-prove.ts'

/** Capacitance and loss, s; and once more, after it was charged. */
const bridgeS = 1.5
const againS = 0.5

export function capacitorOf(part: Capacitor, reach: JigReach, bounds: PlanBounds): Wants | Lack {
  if (!reach.bridge) return noBridge
  const { frequencyHz, levelV } = capacitorConditions(part)
  const wants = bridgeOf(nearestHz(frequencyHz, reach), levelV, bridgeS)
  const { leakage } = part
  if (!leakage) return wants
  if (!reach.source) {
    return { ...noSource, wayOut: `${noSource.wayOut}, or ask for capacitance and loss alone` }
  }
  return charged({ ...part, leakage }, wants, reach.source, bounds)
}

function charged(
  part: Charged, wants: Wants, source: NonNullable<JigReach['source']>,
  { touchSafeV, touchSafeJ = Infinity, partEnergyMaxJ = touchSafeJ }: PlanBounds,
): Wants | Lack {
  const { charge, isCovered, energyJ, takesS } = chargingOf(
    part, { ...source, voltageMaxV: Math.min(source.voltageMaxV, touchSafeV) })
  const mostJ = isCovered ? partEnergyMaxJ : touchSafeJ
  if (energyJ >= mostJ) {
    return {
      why: `at ${formatSi(charge.voltageV, 'V')} it holds ${formatSi(energyJ, 'J')}, and the jig stays below `
        + formatSi(mostJ, 'J'),
      wayOut: 'prove it on the rack, behind the cover, or ask for capacitance and loss alone',
    }
  }
  const { setUp } = wants
  const long = part.absorption ? ', what comes back' : ''
  return {
    measureS: wants.measureS + againS + takesS, rank: 3, mostJ: energyJ,
    setUp: {
      leads: isCovered ? `${setUp.leads}; when asked, close the cover and press the button for each part`
        : part.isPolar ? `${setUp.leads}, plus to terminal 1` : setUp.leads,
      ...isCovered ? { isCovered } : {},
      measures: `${setUp.measures}, then ${formatSi(charge.voltageV, 'V')} for `
        + `${formatDuration(charge.readAtMs.at(-1)! / 1000)}${long}`,
      mostV: charge.voltageV, mostA: Math.max(setUp.mostA, charge.limitA),
    },
  }
}
