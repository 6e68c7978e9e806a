/**
 * What the way through a scanner leaves open, by the figures that its profile declares, and which parts it is
 * too coarse for. Pure; SI units.
 */
import { formatSi } from '../base/format.ts'
import { usualResiduals as usual } from '../schema/compensation.ts'
import type { ScannerPath } from '../schema/instrument-classes.ts'
import type { JigReach } from '../schema/jig.ts'
import { capacitorConditions } from './methods/capacitor.ts'
import { chargingOf } from './methods/charging.ts'
import { nearestHz } from './methods/reactive.ts'
import { afterwards, twice, type Extents } from './residuals.ts'
import type { Capacitor, Diode, Inductor, Limit, ToProve } from './to-prove.ts'

/** What is usual of leads, and what the scanner has at most, until it was found; then that it comes back. */
export const trayExtents = (path: ScannerPath): Extents => ({
  usual: {
    seriesOhm: usual.seriesOhm + path.seriesOhm, seriesH: usual.seriesH + path.seriesH,
    strayF: usual.strayF + path.strayF, leadsOhm: usual.leadsOhm + path.seriesOhm,
  },
  afterwards: {
    ...afterwards, seriesOhm: afterwards.seriesOhm + path.repeatOhm,
    leadsOhm: afterwards.leadsOhm + path.repeatOhm,
  },
})

/** A tray as far as plans need it. */
export interface TrayPath {
  readonly path: ScannerPath
  readonly reach: JigReach
  /** Of ohms that are read in the smallest range that holds `mostOhm`; NaN where nobody knows. */
  ohmsU(ohm: number, mostOhm: number): number
}

/** Room for a limit is so many times what is open, at twice its standard uncertainty (common practice). */
const ratioLeast = 4
const coverage = 2
const root3 = Math.sqrt(3)
/** As the method of resistors asks for its range. */
const rangeRoom = 1.25

interface Shortfall {
  readonly what: string; readonly room: number; readonly u: number; readonly unit: string
}

/** Why this part is put in by hand; null where the tray will do. */
export function byHand(part: ToProve, tray: TrayPath): string | null {
  const lacks = lackOf(part, tray.path)
  if (lacks !== null) return lacks
  const short = shortfalls(part, tray).find(({ room, u }) => !(room >= ratioLeast * coverage * u))
  if (!short) return null
  const { what, room, u, unit } = short
  return `the scanner leaves ${formatSi(coverage * u, unit, 2)} of its ${what} open, more than a fourth of `
    + `the ${formatSi(room, unit, 2)} that its limit leaves room for`
}

const twoLegged: readonly ToProve['kind'][] = ['resistor', 'contact', 'capacitor', 'inductor', 'diode']

function lackOf(part: ToProve, { emfV, leakageOhm }: ScannerPath): string | null {
  if (!twoLegged.includes(part.kind)) return 'a position of the tray takes two legs'
  const unsaid = 'the profile of the scanner does not say'
  const isDc = part.kind !== 'capacitor' && (part.kind !== 'inductor' || part.dcOhm !== null)
  if (isDc && emfV === undefined) return `${unsaid} what thermal volts it has (path.emfV)`
  const isLeaking = part.kind === 'capacitor' ? part.leakage !== null : part.kind !== 'inductor' || isDc
  if (isLeaking && leakageOhm === undefined) return `${unsaid} how it insulates (path.leakageOhm)`
  return null
}

function shortfalls(part: ToProve, tray: TrayPath): Shortfall[] {
  switch (part.kind) {
    case 'resistor': {
      const { nominal, plus, minus } = part.ohm
      const u = ohmsU(tray, nominal, nominal * (1 + plus) * rangeRoom)
      return [{ what: 'resistance', room: nominal * Math.min(plus, minus), u, unit: 'Ω' }]
    }
    case 'contact': {
      const { high = Infinity } = part.ohm
      return [{ what: 'resistance', room: high, u: ohmsU(tray, high, 100 * high), unit: 'Ω' }]
    }
    case 'capacitor': return ofCapacitor(part, tray)
    case 'inductor': return ofInductor(part, tray)
    case 'diode': return ofDiode(part, tray)
    default: return []
  }
}

const ohmsU = ({ path, ohmsU: of }: TrayPath, ohm: number, mostOhm: number): number =>
  Math.hypot(twice * trayExtents(path).afterwards.leadsOhm, of(ohm, mostOhm))

/** Ohms that a reactance of this size may be off, in line and beside, once the path was compensated. */
function reactanceU({ path }: TrayPath, ohm: number, omega: number): number {
  const { seriesH, strayF } = trayExtents(path).afterwards
  return twice * Math.hypot(omega * seriesH, ohm * ohm * omega * strayF)
}

function ofCapacitor(part: Capacitor, tray: TrayPath): Shortfall[] {
  if (!tray.reach.bridge) return []
  const { nominal, plus, minus } = part.farad
  const omega = 2 * Math.PI * nearestHz(capacitorConditions(part).frequencyHz, tray.reach)
  const ohm = 1 / (omega * nominal)
  const list: Shortfall[] = [{
    what: 'capacitance', room: nominal * Math.min(plus, minus), unit: 'F',
    u: nominal * reactanceU(tray, ohm, omega) / ohm,
  }]
  if (part.dissipation?.high !== undefined) {
    const seriesOhm = twice * trayExtents(tray.path).afterwards.seriesOhm
    list.push({ what: 'loss', room: part.dissipation.high, unit: '', u: seriesOhm / ohm })
  }
  const { leakage } = part
  if (leakage && tray.reach.source) {
    const { charge: { voltageV }, mostA } = chargingOf({ ...part, leakage }, tray.reach.source)
    list.push({ what: 'leakage', room: mostA, unit: 'A', u: voltageV / tray.path.leakageOhm! / root3 })
  }
  return list
}

function ofInductor(part: Inductor, tray: TrayPath): Shortfall[] {
  if (!tray.reach.bridge) return []
  const { nominal, plus, minus } = part.henry
  const omega = 2 * Math.PI * nearestHz(part.frequencyHz, tray.reach)
  const list: Shortfall[] = [{
    what: 'inductance', room: nominal * Math.min(plus, minus), unit: 'H',
    u: reactanceU(tray, omega * nominal, omega) / omega,
  }]
  const dcOhm = part.dcOhm?.high
  if (dcOhm !== undefined) {
    list.push({ what: 'winding resistance', room: dcOhm, unit: 'Ω', u: ohmsU(tray, dcOhm, 2 * dcOhm) })
  }
  return list
}

function ofDiode({ forward, reverse, zener }: Diode, { path }: TrayPath): Shortfall[] {
  const voltsU = (amps: number): number => Math.hypot(path.emfV!, path.seriesOhm * amps) / root3
  const list = forward.map(({ currentA, volt }): Shortfall =>
    ({ what: 'forward volts', room: roomOf(volt), unit: 'V', u: voltsU(currentA) }))
  if (zener) {
    list.push({ what: 'zener volts', room: roomOf(zener.volt), unit: 'V', u: voltsU(zener.currentA) })
  }
  if (reverse?.ampere.high !== undefined) {
    const u = reverse.voltageV / path.leakageOhm! / root3
    list.push({ what: 'reverse current', room: reverse.ampere.high, unit: 'A', u })
  }
  return list
}

const roomOf = ({ low, high }: Limit): number =>
  low !== undefined && high !== undefined ? (high - low) / 2 : high ?? low ?? Infinity
