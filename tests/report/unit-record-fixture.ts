/** The Pavilion's amplifier with an invented life: first power, burn-in, proof of its claims, parts list. */
import { join } from 'node:path'
import { packageRoot } from '../../src/base/paths.ts'
import { SeededRandom } from '../../src/base/random.ts'
import { judgeUnit, loadUnitProfile } from '../../src/claims/unit-file.ts'
import { unitPage, type UnitPage } from '../../src/report/unit-page.ts'
import type { UnitRecordInput, UnitRun } from '../../src/report/unit-record.ts'
import type { Conditions, Figure, FigureQuantity } from '../../src/schema/figure.ts'
import { figureUnits } from '../../src/schema/figure.ts'
import type { UnitSequence } from '../../src/schema/powering.ts'
import type { Channel } from '../../src/schema/reading.ts'
import type { PartResult, RunEvent, RunRecord } from '../../src/schema/run.ts'
import type { Bucket, StoredEvent } from '../../src/schema/store.ts'
import type { Curve, UnitFindings } from '../../src/schema/unit-findings.ts'
import type { UnitProfile } from '../../src/schema/unit-profile.ts'
import { criterion } from '../../src/sequences/criteria.ts'

export const profile: UnitProfile =
  loadUnitProfile(join(packageRoot, 'profiles/units/saltmarsh-pavilion-amplifier.yaml'))
export const specimen = 'pavilion-amp-1'
/** 2026-03-02 09:00 UTC; later runs begin a day after each other. */
export const startWallMs = Date.UTC(2026, 2, 2, 9)
const dayMs = 86_400_000
const days: Record<UnitSequence, number> = { 'first-power': 0, 'burn-in': 1, verify: 5 }

export type Say = Partial<Omit<RunEvent, 'kind'>> & { kind: string; atS: number }
export const told = (startMs: number, says: readonly Say[]): StoredEvent[] => says.map(({ atS, ...event }, i) => ({
  severity: 'info', text: event.kind, atMs: 5000 + 1000 * atS, wallMs: startMs + 1000 * atS, seq: i + 1, hash: `h${i}`, ...event,
}))

export const instruments = [
  { name: 'contactor', role: 'mains-switch', identity: 'BENCH,CONTACTOR,1,1.0', profile: 'mains-contactor', hash: 'aa01', url: 'tcp://127.0.0.1:1' },
  { name: 'digitizer', role: ['digitizer', 'generator'], identity: 'BENCH,SAMPLER,7,2.1', profile: 'digitizer-16-bit', hash: 'bb02', url: 'tcp://127.0.0.1:2',
    calibrated: { on: '2025-06-01', due: '2026-06-01', certificate: 'K-117' } },
  { name: 'watts', role: 'power-meter', identity: 'BENCH,WATTS,3,1.4', profile: 'mains-power-meter', hash: 'cc03', url: 'tcp://127.0.0.1:3', calibrated: null },
]

export function runOf(sequence: UnitSequence, over: Partial<RunRecord> = {}): RunRecord {
  const startedWallMs = startWallMs + days[sequence] * dayMs
  return {
    id: `${sequence}-1`, sequence, bench: 'pavilion', state: 'done', startedWallMs, endedWallMs: startedWallMs + 3_600_000,
    person: 'Ida', use: sequence === 'burn-in' ? 'unattended' : 'attended', software: 'nightbench 0.1.0',
    setup: {
      request: { unit: profile.unit, specimen, sequence }, profile: { name: profile.unit, hash: 'fe5d', profile },
      plan: { left: [] }, instruments,
    },
    ...over,
  }
}

export const resultOf = (over: Partial<PartResult> = {}): PartResult => ({
  position: 'unit', part: specimen, profile: profile.unit, grade: 'accept', provisional: false, disposition: 'use', pConform: 0.999,
  reason: 'everything within its limits', criteria: [], figures: {}, ...over,
})

export function unitRun(
  run: RunRecord, says: readonly Say[], result: PartResult | null, series: UnitRun['series'] = [],
): UnitRun {
  return { run, events: told(run.startedWallMs, says), result, chainHead: `${run.id}-head`, chain: null, series }
}

const stageRead = { 'rail voltage plus': 37.4, 'rail voltage minus': -37.1, 'rail symmetry plus and minus': 0.3, 'mains power': 18.2 }
export const touchSaid = 'every rail measured below 60 V at 10:12 UTC; prove dead before touching'
export const dead = (atS: number): Say => ({ kind: 'touch', atS, text: touchSaid, data: { unit: specimen, isDead: true } })
const stage = (name: string, atS: number, person: string): Say[] => [
  { kind: 'hold', atS, text: `stage ${name}: fit what belongs to it; cover closed, hands off`, data: { id: `stage.${name}`, mainsOn: false } },
  { kind: 'go-on', atS: atS + 240, text: `${person} said to go on`, data: { id: `stage.${name}`, person } },
  { kind: 'energise', atS: atS + 241, text: 'mains closes by way of lamp', data: { way: 'lamp' } },
  { kind: 'energise', atS: atS + 305, text: 'mains closes by way of straight', data: { way: 'straight' } },
  { kind: 'off', atS: atS + 600, text: 'mains open, read back' }, dead(atS + 640),
  { kind: 'stage-read', atS: atS + 641, text: `stage ${name} on full mains for 120 s`, data: stageRead },
]

const sheet = 'sheet of the unit, 1974'
export const firstPower = (over: { run?: Partial<RunRecord>; says?: Say[]; result?: PartResult | null } = {}): UnitRun => unitRun(
  runOf('first-power', over.run), over.says ?? [
    { kind: 'armed', atS: 5, text: 'armed for saltmarsh-pavilion-amplifier: 2 A' },
    { kind: 'unpowered', atS: 6, text: 'measured by Ida with the plug out: earth bond 40.0 mΩ, fuse T 2 A' },
    ...stage('supply', 10, 'Ida'), { kind: 'stage', atS: 655, text: 'stage supply: everything within its limits' },
    ...stage('whole', 700, 'Bo'), { kind: 'ended', atS: 1400, text: 'run done' },
  ],
  over.result === undefined ? resultOf({ criteria: [
    { ...criterion('rail voltage', { value: 37.4, u: 0.02 }, 'V', { low: 31.45, high: 42.55 }, sheet), where: 'plus' },
    { ...criterion('dc at the output', { value: 0.012, u: 0.0004 }, 'V', { low: -0.05, high: 0.05 }, 'common practice'), where: 'bandstand' },
  ] }) : over.result,
  [seriesOf(channel(0, 'mains.power', 'power', 'W'), 200, i => 18 + 0.01 * i, 7)])

const figure = (quantity: FigureQuantity, channelName: string | null, value: number, u: number, conditions: Conditions, more: Partial<Figure> = {}): Figure => ({
  quantity, channel: channelName, value, unit: figureUnits[quantity], u, conditions,
  notes: [`${quantity}: scale and load count`, 'captures averaged: 8'], ...more,
})

/** Figures that answer most of the claims: one is not met, one lies too near, some were not measured. */
export function figures(): Figure[] {
  return profile.channels.flatMap(({ name }, i) => [
    ...[80, 1000, 12_000].map(frequencyHz => figure('output power', name, 47 - i - frequencyHz / 8000, 0.3,
      { frequencyHz, distortion: 0.02, distortionOf: 'thd', loadOhm: 250, driven: 'all' })),
    figure('thd', name, 0.0021 + 0.0001 * i, 0.0001, { frequencyHz: 1000, outputW: 1, loadOhm: 250, orders: 9 }),
    figure('separation', name, 38.2 + i, 0.2, { frequencyHz: 1000, sourceOhm: 600 }),
    figure('damping factor', name, 8.05, 0.3, { frequencyHz: 1000, loadOhm: 250 }),
    figure('gain', name, 42.31 + 0.1 * i, 0.05, { frequencyHz: 1000 }),
    figure('dc offset', name, -0.0071, 0.0005, {}),
    figure('response deviation', name, 0.4, 0.05, { bandLowHz: 40, bandHighHz: 15_000 }),
    figure('response deviation', name, -1.1, 0.05, { bandLowHz: 40, bandHighHz: 15_000 }),
    figure('noise', name, 0.0004, 0.00002, { bandLowHz: 20, bandHighHz: 20_000, weighting: 'A', sourceOhm: 600 }, { bound: 'at most' }),
  ])
}

const geometric = (from: number, to: number, n: number): number[] =>
  Array.from({ length: n }, (_, i) => from * (to / from) ** (i / (n - 1)))
const hertz = (values: number[]): Curve['x'] => ({ label: 'frequency', unit: 'Hz', scale: 'log', values })

export function curves(spectrumPoints = 4096): Curve[] {
  const random = new SeededRandom('spectrum')
  return profile.channels.flatMap(({ name }, i): Curve[] => [
    { name: 'response', channel: name, under: 'stepped sines at 1.00 W into 250 Ω, this channel driven', x: hertz(geometric(10, 100_000, 40)),
      y: { label: 'deviation from the level at 1 kHz', unit: 'dB', scale: 'linear',
        values: geometric(10, 100_000, 40).map(f => -10 * Math.log10(1 + (18 / f) ** 2) - 10 * Math.log10(1 + (f / (28_000 + 3000 * i)) ** 2)) } },
    { name: 'distortion against power', channel: name, under: '1.00 kHz into 250 Ω, this channel driven',
      x: { label: 'power', unit: 'W', scale: 'log', values: geometric(0.05, 60, 25) },
      y: { label: 'THD', unit: '1', scale: 'log', values: geometric(0.05, 60, 25).map(w => 0.002 * w ** -0.2 + (w / 49) ** 22 * 0.02) } },
    { name: 'distortion against frequency', channel: name, under: '20.0 W into 250 Ω, this channel driven', x: hertz(geometric(20, 20_000, 20)),
      y: { label: 'THD', unit: '1', scale: 'log', values: geometric(20, 20_000, 20).map(f => 0.002 * (1 + (f / 4000) ** 1.2 + 60 / f)) } },
    { name: 'spectrum', channel: name, under: '1.00 kHz at 1.00 W into 250 Ω, one record of 1.00 s', x: hertz(Array.from({ length: spectrumPoints }, (_, k) => (k + 1) * 24_000 / spectrumPoints)),
      y: { label: 'level below the fundamental', unit: 'dB', scale: 'linear',
        values: Array.from({ length: spectrumPoints }, (_, k) => {
          const f = (k + 1) * 24_000 / spectrumPoints
          const order = Math.round(f / 1000)
          const isLine = order >= 1 && order <= 7 && Math.abs(f - 1000 * order) < 0.51 * 24_000 / spectrumPoints
          return isLine ? order === 1 ? 0 : -48 - 6 * order : -110 + 3 * random.normal()
        }) } },
  ])
}

export const verify = (over: Partial<UnitFindings> = {}, run: Partial<RunRecord> = {}): UnitRun => {
  const measured = over.figures ?? figures()
  const setup = runOf('verify').setup
  return unitRun(runOf('verify', { setup: { ...setup, plan: { left: ['Overload recovery: the generator makes no bursts.'] } }, ...run }), [
    { kind: 'armed', atS: 5 }, { kind: 'energise', atS: 10, text: 'mains closes by way of straight', data: { way: 'straight' } },
    { kind: 'off', atS: 3000, text: 'mains open, read back' }, dead(3050),
  ], resultOf({ grade: 'reject', reason: 'separation fails its claim', disposition: 'replace', unit: {
    figures: [...measured], claims: judgeUnit(profile, measured), curves: curves(), left: ['Overload recovery: the generator makes no bursts.'], ...over,
  } }))
}

export const channel = (index: number, name: string, quantity: Channel['quantity'], unit: Channel['unit']): Channel => ({ index, name, quantity, unit })
export const twelve: Channel[] = ([
  ['mains.voltage', 'voltage', 'V'], ['mains.current', 'current', 'A'], ['mains.power', 'power', 'W'],
  ['rail.plus', 'voltage', 'V'], ['rail.minus', 'voltage', 'V'], ['idle.idle-bandstand', 'current', 'A'],
  ['idle.idle-tea-room', 'current', 'A'], ['bandstand.dc', 'voltage', 'V'], ['tea-room.dc', 'voltage', 'V'],
  ['warm.heatsink', 'temperature', '°C'], ['warm.transformer', 'temperature', '°C'], ['tea-room.thd', 'ratio', '1'],
] as const).map(([name, quantity, unit], i) => channel(i, name, quantity, unit))

/** `n` buckets, so many seconds apart. */
export function seriesOf(of: Channel, n: number, valueAt: (i: number) => number, everyS = 60): UnitRun['series'][number] {
  const buckets: Bucket[] = Array.from({ length: n }, (_, i) => {
    const mean = valueAt(i)
    return { atMs: 5000 + 1000 * everyS * i, min: mean - 0.01 * Math.abs(mean), mean, max: mean + 0.01 * Math.abs(mean), count: 16, bad: 0 }
  })
  return { channel: of, buckets }
}

/** What each channel reads while the unit warms up. */
export const courseAt = ({ name }: Channel, share: number): number => {
  const warm = 1 - Math.exp(-12 * share)
  const levels: Record<string, number> = {
    'mains.voltage': 231 + 2 * Math.sin(20 * share), 'mains.current': 0.22 + 0.03 * warm, 'mains.power': 44 + 6 * warm,
    'rail.plus': 36.4 - 0.3 * warm, 'rail.minus': -36.2 + 0.3 * warm, 'bandstand.dc': 0.007 + 0.002 * warm, 'tea-room.dc': -0.004,
    'warm.heatsink': 24 + 31 * warm, 'warm.transformer': 24 + 27 * (1 - Math.exp(-5 * share)), 'tea-room.thd': 0.0021,
  }
  return levels[name] ?? 0.021 + 0.004 * warm
}

export const burnInSays = '72 h without a failure show that its failure rate is below 4.2 % per 100 h at 95 %; they do not show how long it lasts.'
export function burnIn(over: { run?: Partial<RunRecord>; says?: Say[]; result?: PartResult | null; buckets?: number } = {}): UnitRun {
  const n = over.buckets ?? 300
  const { startedWallMs } = runOf('burn-in')
  const series = twelve.map(one => seriesOf(one, n, i => courseAt(one, i / n), 74 * 3600 / n))
  return unitRun(runOf('burn-in', { endedWallMs: startedWallMs + 74 * 3_600_000, ...over.run }), over.says ?? [
    { kind: 'armed', atS: 5 }, { kind: 'energise', atS: 10, text: 'mains closes by way of straight', data: { way: 'straight' } },
    { kind: 'off', atS: 266_000, text: 'mains open, read back' }, dead(266_060),
  ], over.result === undefined ? resultOf({
    criteria: [{ ...criterion('drift', { value: 0.02, u: 0.004 }, 'dB', { low: -0.1, high: 0.1 }, 'common practice'), where: 'gain of bandstand' }],
    unit: { figures: [], claims: [], curves: [], left: ['Distortion of the tea-room channel during the night.'], burnIn: {
      countedS: 72 * 3600, askedS: 72 * 3600, wallS: 74 * 3600, switchings: 12,
      lost: [{ why: 'mains was away', seconds: 5400 }, { why: 'nobody looked', seconds: 1800 }],
      drifts: [
        { of: 'idle-bandstand', unit: 'A', start: { value: 0.0211, u: 0.0001 }, end: { value: 0.0249, u: 0.0001 }, change: 0.0038, u: 0.00015, hours: 71 },
        { of: 'gain of bandstand', unit: 'dB', start: { value: 42.31, u: 0.02 }, end: { value: 42.33, u: 0.02 }, change: 0.02, u: 0.028, hours: 71 },
      ],
      warmth: [
        { place: 'heatsink', isSteady: true, steadyAtS: 7200, celsius: 55.1, u: 0.5, remainingK: 0.1, remainingU: 0.04, rule: 'less than 1 K in an hour' },
        { place: 'transformer', isSteady: false, steadyAtS: null, celsius: 51, u: 0.5, remainingK: null, rule: 'less than 1 K in an hour' },
      ],
      says: burnInSays,
    } },
  }) : over.result, series)
}

export const tripText = 'unit off: warm.heatsink.hot: 85.4 °C, limit 85 °C: too warm (common practice)'
/** A burn-in that tripped at noon, with a rail that was not seen to go down. */
export const tripped = (): UnitRun => burnIn({
  run: { id: 'burn-in-2', state: 'tripped', startedWallMs: startWallMs + 2 * dayMs, endedWallMs: startWallMs + 2.1 * dayMs },
  says: [
    { kind: 'energise', atS: 10, text: 'mains closes by way of straight', data: { way: 'straight' } },
    { kind: 'trip', severity: 'trip', atS: 8000, text: tripText, data: { id: 'warm.heatsink.hot', offSentMs: 1, offVerifiedMs: 90, faultToDisconnectedMs: 140 } },
    { kind: 'touch', severity: 'warning', atS: 8120, text: 'NOT SAFE TO TOUCH (plus 71.0 V)', data: { unit: specimen, isDead: false } },
    { kind: 'ended', atS: 8121, text: 'run tripped' },
  ],
  result: null,
})

export const parts = (): UnitPage => unitPage([
  { designator: 'C14', what: 'capacitor 4700u 63 V', ratedV: 63, wanted: { action: 'prove', reason: '' } },
  { designator: 'R2', what: 'resistor 100k', ratedV: null, wanted: { action: 'prove', reason: '' } },
], {
  unit: specimen, runs: 4, wasAll: true, parts: [
    { designator: 'C14', stands: null, inService: null, newest: { run: 'R1', sequence: 'reform', startedWallMs: startWallMs - dayMs, person: 'Ida', volts: 63, ratedV: 63,
      result: { ...resultOf(), part: `${specimen}-C14`, criteria: [criterion('capacitance', { value: 4.9e-3, u: 2e-5 }, 'F', { low: 3.7e-3 }, 'IEC tolerance as marked')] } } },
    { designator: 'R2', newest: null, stands: null, inService: null },
  ],
}, null)

export const input = (over: Partial<UnitRecordInput> = {}): UnitRecordInput => ({
  specimen, madeWallMs: startWallMs + 6 * dayMs, software: 'nightbench 0.1.0', runs: [firstPower(), burnIn(), verify()], others: [], parts: parts(), ...over,
})
