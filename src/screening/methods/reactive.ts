/** Capacitors and inductors on the bridge; insulation and leakage by a source where that is asked for. */
import { formatSi } from '../../base/format.ts'
import type { ImpedanceReading, Jig, JigReach, Pair } from '../../schema/jig.ts'
import { faulty, found, type Finding, type Proof } from '../proof.ts'
import { valueLimit, type Capacitor, type Inductor } from '../to-prove.ts'
import { steadyOf, steadyReadings } from './steady.ts'

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

/** The nearest the bridge has; on a list the nearest on it, within a range its end. */
export function nearestHz(wanted: number, { bridge }: JigReach): number {
  const { frequenciesHz } = bridge!
  if ('minHz' in frequenciesHz) return Math.min(frequenciesHz.maxHz, Math.max(frequenciesHz.minHz, wanted))
  const far = (hz: number): number => Math.abs(Math.log(hz / wanted))
  return frequenciesHz.reduce((best, hz) => (far(hz) < far(best) ? hz : best))
}

/** A reactance this far below the resistance beside it is no reactance of the part any more. */
const resistiveBelow = 0.05
const openFactor = 100

export async function proveCapacitor(jig: Jig, pair: Pair, part: Capacitor): Promise<Proof> {
  const wanted = capacitorConditions(part)
  const frequencyHz = nearestHz(wanted.frequencyHz, jig.reach)
  const { reading, movedOhm } = await steadily(jig, pair, { frequencyHz, levelV: wanted.levelV })
  const expectedOhm = 1 / (2 * Math.PI * frequencyHz * part.farad.nominal)
  const wrong = noCapacitor(reading, expectedOhm)
  if (wrong) return wrong
  if (movedOhm !== null) return unsteady(movedOhm)
  const { findings, figures } = onBridge(part, reading)
  const notes =
    frequencyHz === wanted.frequencyHz
      ? []
      : [`read at ${formatSi(frequencyHz, 'Hz')}; stated at ${formatSi(wanted.frequencyHz, 'Hz')}`]
  if (!part.leakage) return found(findings, figures, [...notes, 'its leakage was not measured'])
  const leak = await leakage(jig, pair, part)
  return found([...findings, leak], { ...figures, leakageA: leak.measured.value }, notes)
}

/**
 * Several readings: the last, and how far its resistance moved where that is more than the bridge
 * explains.
 */
async function steadily(
  jig: Jig,
  pair: Pair,
  setup: { frequencyHz: number; levelV: number },
): Promise<{ reading: ImpedanceReading; movedOhm: number | null }> {
  const readings: ImpedanceReading[] = []
  for (let i = 0; i < steadyReadings; i++) readings.push(await jig.impedance(pair, setup))
  const { moved, isSteady, quality } = steadyOf(readings.map(({ rOhm }) => rOhm))
  return { reading: readings.at(-1)!, movedOhm: quality === 'good' && !isSteady ? moved : null }
}

const unsteady = (movedOhm: number): Proof =>
  faulty(
    'poor contact',
    `its series resistance moved by ${formatSi(movedOhm, 'Ω', 3)} while it was read: a poor contact`,
    { movedOhm },
  )

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
    figures: {
      capacitanceF: farad,
      capacitanceU: faradU,
      dissipation: loss,
      esrOhm: rOhm.value,
      frequencyHz,
    },
  }
}

async function leakage(jig: Jig, pair: Pair, part: Capacitor): Promise<Finding> {
  const { atV, afterS, ampere } = part.leakage!
  const limitA = Math.max(10 * (ampere.high ?? 0), 1e-6)
  const point = await jig.force(
    pair,
    { voltageV: atV, limitA: Math.min(limitA, jig.reach.source!.currentMaxA) },
    1000 * afterS,
  )
  await jig.force(pair, { voltageV: 0, limitA: jig.reach.source!.currentMaxA }, 1000)
  return {
    name: 'leakage',
    measured: point.current,
    unit: 'A',
    limit: ampere,
    conditions: `${formatSi(atV, 'V')}, after ${afterS} s`,
  }
}

export async function proveInductor(jig: Jig, pair: Pair, part: Inductor): Promise<Proof> {
  const frequencyHz = nearestHz(part.frequencyHz, jig.reach)
  const { reading, movedOhm } = await steadily(jig, pair, { frequencyHz, levelV: 1 })
  const { rOhm, xOhm, levelV } = reading
  if (xOhm.quality !== 'good' || rOhm.quality !== 'good')
    return faulty('open', 'the bridge sees nothing: it is open')
  if (xOhm.value < -2 * xOhm.u) {
    return faulty(
      'other kind',
      `it is capacitive at ${formatSi(frequencyHz, 'Hz')}: no inductor, or above its resonance`,
    )
  }
  if (movedOhm !== null) return unsteady(movedOhm)
  const omega = 2 * Math.PI * frequencyHz
  const [henry, u] = [xOhm.value / omega, xOhm.u / omega]
  const conditions = `${formatSi(frequencyHz, 'Hz')}, ${formatSi(levelV, 'V')}`
  const findings: Finding[] = [
    {
      name: 'inductance',
      measured: { value: henry, u },
      unit: 'H',
      limit: valueLimit(part.henry),
      conditions,
    },
  ]
  const quality = xOhm.value / rOhm.value
  if (part.quality) {
    const qU = Math.hypot(xOhm.u, quality * rOhm.u) / rOhm.value
    findings.push({
      name: 'quality factor',
      measured: { value: quality, u: qU },
      unit: '1',
      limit: part.quality,
      conditions,
    })
  }
  const figures = { inductanceH: henry, inductanceU: u, seriesOhm: rOhm.value, frequencyHz }
  if (!part.dcOhm || !jig.reach.ohms) return found(findings, figures)
  const wires = jig.reach.ohms.wires.includes(4) ? 4 : 2
  const dc = await jig.resistance(pair, { mostOhm: 2 * (part.dcOhm.high ?? 1000), wires })
  if (dc.quality !== 'good') return faulty('open', 'its winding is open', figures)
  findings.push({
    name: 'winding resistance',
    measured: dc,
    unit: 'Ω',
    limit: part.dcOhm,
    conditions: `${wires} wires`,
  })
  return found(findings, { ...figures, windingOhm: dc.value })
}
