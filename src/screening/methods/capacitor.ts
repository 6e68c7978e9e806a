/** Capacitors: capacitance and loss on the bridge; then, charged, what they let through and give back. */
import { formatSi } from '../../base/format.ts'
import type { ImpedanceReading, Jig, Pair } from '../../schema/jig.ts'
import { faulty, found, type Finding, type Proof } from '../proof.ts'
import { valueLimit, type Capacitor } from '../to-prove.ts'
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
  const { reading, movedOhm } = await steadily(jig, pair, { frequencyHz, levelV: wanted.levelV })
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
  const charged = await chargedFindings(
    jig, pair, { ...part, leakage: part.leakage }, { farad: bridge.farad, told, guide })
  return joined(before, charged, await isStillThere(jig, pair, reading) ? null : goneFault)
}

const noted = (proof: Proof, note: string): Proof => ({ ...proof, notes: [...proof.notes, note] })

const joined = (before: Proof, after: Proof, gone: Proof['fault']): Proof => ({
  findings: [...before.findings, ...after.findings], fault: gone ?? after.fault,
  figures: { ...before.figures, ...after.figures }, notes: [...before.notes, ...after.notes],
})

/** Beyond its limit by more than twice the uncertainty: nothing that follows makes it good. */
const isBad = ({ measured: { value, u }, limit: { low = -Infinity, high = Infinity } }: Finding): boolean =>
  value > high + 2 * u || value < low - 2 * u

/** Volts change class 2 ceramic and oxide by a few per cent, a clip that let go by much more. */
const sameShare = 0.1

/**
 * What was charged must still be there once it was emptied: a zero that was read while it lay elsewhere shows
 * nothing of it.
 */
async function isStillThere(jig: Jig, pair: Pair, before: ImpedanceReading): Promise<boolean> {
  const { xOhm } = await jig.impedance(pair, before)
  const apart = Math.abs(xOhm.value - before.xOhm.value)
  return xOhm.quality === 'good'
    && apart <= Math.max(sameShare * Math.abs(before.xOhm.value), 6 * Math.hypot(xOhm.u, before.xOhm.u))
}

const goneFault: Proof['fault'] = {
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
