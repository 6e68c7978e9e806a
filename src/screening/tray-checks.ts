/**
 * Whether the channels of a scanner do what they are told, seen by measurement. The empty tray: each closed
 * channel adds the capacitance of its leads to the common line, so one that adds nothing does not close, or
 * is closed all the time, and one that adds twice as much closes another with it. With parts on the tray and
 * all channels open nothing may be seen: what is, lies behind a contact that stays closed. Bare wires in
 * patterns show which channel leads where.
 */
import { toAdmittance } from '../analysis/impedance.ts'
import { formatSi } from '../base/format.ts'
import { probing, swapped, type Jig, type Pair } from '../schema/jig.ts'
import type { ScannerPath } from '../schema/instrument-classes.ts'
import type { Tray } from '../schema/tray.ts'
import { nearestHz } from './methods/reactive.ts'
import { mostWireOhm } from './nulls.ts'
import type { ToProve } from './to-prove.ts'

const ends: Pair = { high: 1, low: 2 }
/** High enough that a few picofarads are seen, as near as the bridge comes. */
const wantedHz = 1e6
const levelV = 1
/** Of what one channel adds: below it is none, above it is two. Leads of one tray differ by less (ours). */
const [leastShare, mostShare] = [0.5, 1.6]
/** Beyond so many channels at once something lies there. */
const laidShare = 3
/** No empty position conducts more (from memory). */
const mostEmptyS = 1e-6
/** What has changed by less, in combined standard uncertainties, has not (common practice). */
const driftFactor = 3
/** Beside noise the common line comes back to this, F (ours). */
const comesBackF = 0.15e-12

/** Of the common line at one frequency: farads and siemens, with the uncertainty of either. */
export interface CommonRead {
  readonly farad: number; readonly siemens: number; readonly uF: number; readonly omega: number
}

export const checkHz = (tray: Pick<Tray, 'reach'>): number => nearestHz(wantedHz, tray.reach)

/** Null where the bridge sees nothing, or gives no number. */
export async function readCommon(jig: Jig): Promise<CommonRead | null> {
  const frequencyHz = checkHz(jig)
  const { rOhm, xOhm } = await jig.impedance(ends, { frequencyHz, levelV })
  if (rOhm.quality !== 'good' || xOhm.quality !== 'good') return null
  const omega = 2 * Math.PI * frequencyHz
  const { gS, bS } = toAdmittance({ rOhm: rOhm.value, xOhm: xOhm.value })
  const uF = (gS * gS + bS * bS) * Math.max(rOhm.u, xOhm.u) / omega
  return { farad: bS / omega, siemens: gS, uF, omega }
}

export interface EmptyTray {
  /** `laid`: something lies there. `faulty`: a channel does not do what it is told. */
  readonly is: 'empty' | 'laid' | 'faulty'
  /** One sentence. */
  readonly says: string
  /** All channels open; each closed alone. Whole only where it is empty. */
  readonly common: CommonRead | null
  readonly closed: ReadonlyMap<string, CommonRead>
}

/** Reads the tray, which should be empty. Nothing may be taken off of what is read. */
export async function readEmptyTray(tray: Tray, turned: () => void = () => {}): Promise<EmptyTray> {
  const common = await readCommon(await tray.close(null))
  const closed = new Map<string, CommonRead>()
  const end = (is: EmptyTray['is'], says: string): EmptyTray => ({ is, says, common, closed })
  const lies = (where: string): EmptyTray => end('laid', `something lies ${where}`)
  if (common === null) return end('faulty', 'the bridge gives no number of the common line of the scanner')
  if (!isBare(common, tray.path)) {
    return lies('in the holder of the jig, or behind a channel that stays closed')
  }
  for (const position of tray.positions) {
    const read = await readCommon(await tray.close(position))
    turned()
    if (read === null) return end('faulty', `${position}: the bridge gives no number`)
    if (!isBare(read, tray.path)) return lies(`at ${position}`)
    closed.set(position, read)
  }
  await tray.close(null)
  const odd = oddChannels(common, closed)
  if (odd.length === 0) return end('empty', 'the tray is empty, and each channel closes alone')
  return end(odd.some(({ is }) => is === 'laid') ? 'laid' : 'faulty', odd.map(({ says }) => says).join('; '))
}

/** An empty line, as far as its profile says what that is. */
const isBare = ({ farad, siemens }: CommonRead, { strayF }: ScannerPath): boolean =>
  farad <= strayF && Math.abs(siemens) <= mostEmptyS

/** Pure: by what each channel adds, against what the middle one of them adds. */
export function oddChannels(
  common: CommonRead, closed: ReadonlyMap<string, CommonRead>,
): { readonly is: 'laid' | 'faulty'; readonly says: string }[] {
  const added = [...closed].map(([position, { farad }]) => ({ position, farad: farad - common.farad }))
  const sorted = added.map(({ farad }) => farad).sort((a, b) => a - b)
  const middle = sorted[Math.floor((sorted.length - 1) / 2)] ?? 0
  const usual = formatSi(middle, 'F', 2)
  if (!(middle > driftFactor * Math.SQRT2 * common.uF)) {
    return [{ is: 'faulty', says: `channels add ${usual}, which is too little to see that one closes alone` }]
  }
  return added.flatMap(({ position, farad }): ReturnType<typeof oddChannels> => {
    const adds = `${position} adds ${formatSi(farad, 'F', 2)} where others add ${usual}`
    if (farad < leastShare * middle) {
      return [{ is: 'faulty', says: `${adds}: its channel does not close, or is closed all the time` }]
    }
    if (farad <= mostShare * middle) return []
    return farad > laidShare * middle ? [{ is: 'laid', says: `${adds}: something lies there` }]
      : [{ is: 'faulty', says: `${adds}: another channel closes with it, or something lies there` }]
  })
}

/** Means by which a part of each kind is seen. */
const meansOf = (kind: ToProve['kind']): 'ohms' | 'bridge' | 'source' =>
  kind === 'resistor' || kind === 'contact' ? 'ohms'
    : kind === 'capacitor' || kind === 'inductor' ? 'bridge' : 'source'

/** Through a junction more than this flows at the probing volts, or nothing does that matters, A. */
const throughA = 1e-6
const pulseMs = 20

/**
 * With all channels open: what is seen all the same, in words; null where nothing is. By the means with which
 * parts of these kinds are measured. `empty`: the common line as the empty tray had it.
 */
export async function seenOpen(
  tray: Tray, kinds: readonly ToProve['kind'][], empty: CommonRead,
): Promise<string | null> {
  const jig = await tray.close(null)
  const means = new Set(kinds.map(meansOf))
  if (means.has('bridge')) {
    const read = await readCommon(jig)
    if (read === null) return 'no number'
    const more = changed(empty, read)
    if (more !== null) return `${more} more than of the empty tray`
  }
  if (means.has('ohms') && jig.reach.ohms) {
    const { value, quality } = await jig.resistance(ends, { mostOhm: 'any', wires: 2 })
    if (quality !== 'over-range') return quality === 'good' ? formatSi(value, 'Ω', 3) : quality
  }
  if (means.has('source') && jig.reach.source) {
    for (const pair of [ends, swapped(ends)]) {
      const force = { voltageV: probing.voltageV, limitA: probing.currentA }
      const { current, limited } = await jig.force(pair, force, pulseMs)
      if (limited || !(Math.abs(current.value) < throughA)) return formatSi(Math.abs(current.value), 'A', 2)
    }
  }
  return null
}

function changed(empty: CommonRead, now: CommonRead): string | null {
  const byF = Math.abs(now.farad - empty.farad)
  const byS = Math.abs(now.siemens - empty.siemens)
  const u = Math.hypot(empty.uF, now.uF)
  const most = driftFactor * u + comesBackF
  return byF <= most && byS <= most * now.omega ? null
    : `${formatSi(byF, 'F', 2)} and ${formatSi(byS, 'S', 2)}`
}

/** By how much an empty position has moved since another session, in words; null where it has not. */
export const hasDrifted = (before: CommonRead, now: CommonRead): string | null => changed(before, now)

/** Positions at which a wire is seen, each channel closed alone. */
export async function wiresSeen(tray: Tray, turned: () => void = () => {}): Promise<Set<string>> {
  const seen = new Set<string>()
  for (const position of tray.positions) {
    const jig = await tray.close(position)
    if (await isWire(jig, tray.path)) seen.add(position)
    turned()
  }
  await tray.close(null)
  return seen
}

/** What leads and the scanner add to a wire at most, Ω at DC or at 1 kHz. */
export const mostThroughOhm = ({ seriesOhm }: ScannerPath): number => mostWireOhm + seriesOhm

async function isWire(jig: Jig, path: ScannerPath): Promise<boolean> {
  const { rOhm, xOhm } = await jig.impedance(ends, { frequencyHz: nearestHz(1e3, jig.reach), levelV })
  return rOhm.quality === 'good' && xOhm.quality === 'good'
    && Math.hypot(rOhm.value, xOhm.value) <= mostThroughOhm(path)
}

/** What is wrong with the wires seen, in a sentence; null where each is where it belongs, and no other is. */
export function wiresWrong(wanted: readonly string[], seen: ReadonlySet<string>): string | null {
  const missing = wanted.filter(position => !seen.has(position))
  const more = [...seen].filter(position => !wanted.includes(position))
  if (missing.length === 0 && more.length === 0) return null
  const says = [
    ...missing.length > 0 ? [`no wire is seen at ${missing.join(' ')}`] : [],
    ...more.length > 0 ? [`one is at ${more.join(' ')}, where none belongs`] : [],
  ].join('; ')
  return `${says}. Look; where they lie as asked for, the scanner leads elsewhere than the bench file says, `
    + 'or a channel does not close. Then say laid'
}
