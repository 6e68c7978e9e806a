/** What capacitors and inductors have in common on the bridge; and inductors. */
import { formatSi } from '../../base/format.ts'
import type { ImpedanceReading, Jig, JigReach, Pair } from '../../schema/jig.ts'
import { faulty, found, type Finding, type Proof } from '../proof.ts'
import { valueLimit, type Inductor } from '../to-prove.ts'
import { withLeads } from './resistor.ts'
import { steadyOf, steadyReadings } from './steady.ts'

/** The nearest the bridge has; on a list the nearest on it, within a range its end. */
export function nearestHz(wanted: number, { bridge }: JigReach): number {
  const { frequenciesHz } = bridge!
  if ('minHz' in frequenciesHz) return Math.min(frequenciesHz.maxHz, Math.max(frequenciesHz.minHz, wanted))
  const far = (hz: number): number => Math.abs(Math.log(hz / wanted))
  return frequenciesHz.reduce((best, hz) => (far(hz) < far(best) ? hz : best))
}

/**
 * Several readings: the last, as it was and with what the jig leaves open of it, and how far its resistance
 * moved where that is more than the bridge explains.
 */
export async function steadily(
  jig: Jig,
  pair: Pair,
  setup: { frequencyHz: number; levelV: number },
): Promise<{ reading: ImpedanceReading; raw: ImpedanceReading; movedOhm: number | null }> {
  const readings: ImpedanceReading[] = []
  for (let i = 0; i < steadyReadings; i++) readings.push(await jig.impedance(pair, setup))
  const { moved, isSteady, quality } = steadyOf(readings.map(({ rOhm }) => rOhm))
  const raw = readings.at(-1)!
  const reading = withJig(jig, pair, raw)
  return { reading, raw, movedOhm: quality === 'good' && !isSteady ? moved : null }
}

/** With the uncertainty of what the jig itself adds. */
function withJig({ residuals }: Jig, pair: Pair, reading: ImpedanceReading): ImpedanceReading {
  const { rOhm, xOhm } = reading
  const u = residuals.impedanceU(reading, pair)
  return {
    ...reading, rOhm: { ...rOhm, u: Math.hypot(rOhm.u, u.rOhm) },
    xOhm: { ...xOhm, u: Math.hypot(xOhm.u, u.xOhm) },
  }
}

export const unsteady = (movedOhm: number): Proof =>
  faulty(
    'poor contact',
    `its series resistance moved by ${formatSi(movedOhm, 'Ω', 3)} while it was read: a poor contact`,
    { movedOhm },
  )

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
    measured: { value: dc.value, u: withLeads(jig, pair, dc.u, wires, dc.value) },
    unit: 'Ω',
    limit: part.dcOhm,
    conditions: `${wires} wires`,
  })
  return found(findings, { ...figures, windingOhm: dc.value })
}
