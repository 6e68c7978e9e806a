/** Capacitors: capacitance and loss on the bridge; then, charged, what they let through and give back. */
import { formatSi } from '../../base/format.ts'
import type { ImpedanceReading, Jig, Pair } from '../../schema/jig.ts'
import { faulty, found, type Finding, type Proof } from '../proof.ts'
import { valueLimit, type Capacitor } from '../to-prove.ts'
import { chargingOf, type Charged } from './charging.ts'
import { unguided, type Guide } from './guide.ts'
import { chargedFindings, type Told } from './leakage.ts'
import { mainsFindings } from './mains-part.ts'
import { nearestHz, steadily, unsteady } from './reactive.ts'

/**
 * At what frequency and level a capacitor is measured, by dielectric and size: ../../../docs names the
 * sources. Class 1 up to 1 nF is stated at 1 MHz, class 2 above 10 µF at 120 Hz and 0.5 V, electrolytic
 * at 100 or 120 Hz.
 */
export function capacitorConditions({ dielectric, farad }: Capacitor): {
  frequencyHz: number
  levelV: number
} {
  if (dielectric === 'electrolytic' || dielectric === 'tantalum') return { frequencyHz: 120, levelV: 0.5 }
  if (dielectric === 'ceramic-2' && farad.nominal > 10e-6) return { frequencyHz: 120, levelV: 0.5 }
  if (dielectric === 'ceramic-1' && farad.nominal <= 1e-9) return { frequencyHz: 1e6, levelV: 1 }
  return { frequencyHz: 1000, levelV: 1 }
}

/** A reactance this far below the resistance beside it is no reactance of the part any more. */
const resistiveBelow = 0.05
const openFactor = 100

/** `told`: which end is plus, where a person said so. */
export async function proveCapacitor(
  jig: Jig, pair: Pair, part: Capacitor, told: Told = {}, guide: Guide = unguided,
): Promise<Proof> {
  const wanted = capacitorConditions(part)
  const frequencyHz = nearestHz(wanted.frequencyHz, jig.reach)
  const { reading, raw, movedOhm } = await steadily(jig, pair, { frequencyHz, levelV: wanted.levelV })
  const expectedOhm = 1 / (2 * Math.PI * frequencyHz * part.farad.nominal)
  const wrong = noCapacitor(reading, expectedOhm)
  if (wrong) return wrong
  if (movedOhm !== null) return unsteady(movedOhm)
  const bridge = onBridge(part, reading)
  const mains = part.mains ? mainsFindings(part.mains, bridge.farad) : found([])
  const notes =
    frequencyHz === wanted.frequencyHz
      ? []
      : [`read at ${formatSi(frequencyHz, 'Hz')}; stated at ${formatSi(wanted.frequencyHz, 'Hz')}`]
  const before = found(
    [...bridge.findings, ...mains.findings], { ...bridge.figures, ...mains.figures },
    [...notes, ...mains.notes])
  if (!part.leakage) return noted(before, 'its leakage was not measured')
  if (before.findings.some(isBad)) return noted(before, 'its leakage was not measured: it fails already')
  const under: UnderVolts = {
    part: { ...part, leakage: part.leakage }, before, reading: raw, farad: bridge.farad, told, guide,
  }
  return isCovered(under, jig) ? await behindCover(jig, pair, under) : await atHand(jig, pair, under)
}

interface UnderVolts {
  readonly part: Charged
  readonly before: Proof
  /** As the bridge gave it. */
  readonly reading: ImpedanceReading
  readonly farad: { readonly value: number; readonly u: number }
  readonly told: Told
  readonly guide: Guide
}

const isCovered = ({ part }: UnderVolts, jig: Jig): boolean => chargingOf(part, jig.reach.source!).isCovered

async function atHand(jig: Jig, pair: Pair, under: UnderVolts): Promise<Proof> {
  const { part, before, reading } = under
  const charged = await chargedFindings(jig, pair, part, under)
  return joined(before, charged, await jig.stillThere(pair, reading) ? null : goneFault)
}

/** What was measured is what is put under volts, and is what is given back. */
async function behindCover(jig: Jig, pair: Pair, under: UnderVolts): Promise<Proof> {
  const { part, before, reading, guide } = under
  const { voltageV } = chargingOf(part, jig.reach.source!).charge
  const charged = await jig.underCover(
    { pair, volts: voltageV, seen: reading }, guide, () => chargedFindings(jig, pair, part, under))
  return joined(before, charged, null)
}

const noted = (proof: Proof, note: string): Proof => ({ ...proof, notes: [...proof.notes, note] })

const joined = (before: Proof, after: Proof, gone: Proof['fault']): Proof => ({
  findings: [...before.findings, ...after.findings], fault: gone ?? after.fault,
  figures: { ...before.figures, ...after.figures }, notes: [...before.notes, ...after.notes],
})

/** Beyond its limit by more than twice the uncertainty: nothing that follows makes it good. */
const isBad = ({ measured: { value, u }, limit: { low = -Infinity, high = Infinity } }: Finding): boolean =>
  value > high + 2 * u || value < low - 2 * u

const goneFault: NonNullable<Proof['fault']> = {
  is: 'cannot tell',
  says: 'it left the jig or lost its contact while it was charged, and may still be: discharge it through a '
    + 'resistor, and measure that',
}

function noCapacitor({ rOhm, xOhm }: ImpedanceReading, expectedOhm: number): Proof | null {
  if (xOhm.quality !== 'good' || rOhm.quality !== 'good') {
    return xOhm.quality === 'over-range' || xOhm.quality === 'missing'
      ? faulty('open', 'the bridge sees nothing: it is open, or does not touch')
      : faulty('cannot tell', `the bridge gave no number: ${xOhm.quality}`)
  }
  const size = Math.hypot(rOhm.value, xOhm.value)
  if (size < expectedOhm / openFactor && rOhm.value > -xOhm.value) {
    return faulty('short', `it is a short: ${formatSi(size, 'Ω', 3)}`)
  }
  if (xOhm.value >= -2 * xOhm.u && xOhm.value > 0) {
    return faulty('other kind', `it is inductive, ${formatSi(size, 'Ω', 3)}: no capacitor`)
  }
  if (-xOhm.value < resistiveBelow * rOhm.value) {
    return faulty(
      'other kind',
      `it is a resistance of ${formatSi(rOhm.value, 'Ω', 3)}: no capacitor, or a leaky one`,
    )
  }
  return null
}

/** C and D with their uncertainties: C = −1/ωX, D = R/|X|. */
function onBridge(
  part: Capacitor,
  { rOhm, xOhm, frequencyHz, levelV }: ImpedanceReading,
): {
  findings: Finding[]
  figures: Record<string, number>
  farad: { value: number; u: number }
} {
  const omega = 2 * Math.PI * frequencyHz
  const farad = -1 / (omega * xOhm.value)
  const faradU = Math.abs((farad * xOhm.u) / xOhm.value)
  const loss = rOhm.value / -xOhm.value
  const lossU = Math.hypot(rOhm.u, loss * xOhm.u) / -xOhm.value
  const conditions = `${formatSi(frequencyHz, 'Hz')}, ${formatSi(levelV, 'V')}`
  const findings: Finding[] = [
    {
      name: 'capacitance',
      measured: { value: farad, u: faradU },
      unit: 'F',
      limit: valueLimit(part.farad),
      conditions,
    },
  ]
  if (part.dissipation) {
    findings.push({
      name: 'dissipation',
      measured: { value: loss, u: lossU },
      unit: '1',
      limit: part.dissipation,
      conditions,
    })
  }
  return {
    findings,
    farad: { value: farad, u: faradU },
    figures: {
      capacitanceF: farad,
      capacitanceU: faradU,
      dissipation: loss,
      esrOhm: rOhm.value,
      frequencyHz,
    },
  }
}
