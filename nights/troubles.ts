/**
 * What can go wrong in a night, weighted. Each trouble says what it makes impossible, and, where it makes safety
 * unknowable, within what time energy must be off: derived from the cadence of the bench as docs/safety.md states it.
 */
import type { Cadence } from '../src/schema/bench.ts'
import type { SeededRandom } from '../src/base/random.ts'
import type { PartKind } from '../mocks/parts/make-part.ts'
import type { FaultSpec } from '../mocks/scpi-device/faults.ts'
import type { InstrumentName } from '../mocks/bench/layout.ts'
import type { FixtureFault, SharedFault } from '../mocks/bench/sim-bench.ts'
import type { NightStage } from './bad-night.ts'
import type { CampaignBench } from './campaign-bench.ts'
import type { Excuse } from './invariants.ts'
import type { StoreTrouble } from './failing-store.ts'

/** What a trouble may draw on. */
export interface Setting { random: SeededRandom; targetV: number; positions: readonly string[] }
export type Strike = (bench: CampaignBench) => void

export interface Trouble {
  readonly kind: string
  readonly weight: number
  /** `start`: before the daemon starts; `part`: one of the parts is of that kind; otherwise at any time of a run. */
  readonly at: 'start' | 'part' | 'run'
  readonly part?: PartKind
  readonly strike?: (setting: Setting) => Strike
  readonly excuse?: Excuse
  /** The most that energy may stay on from the stroke, ms, when it strikes in this stage; null where it may go on. */
  readonly offMs?: (cadence: Cadence, stage: NightStage | 'none') => number | null
  /** The bus may stand above the envelope until a layer has found it. */
  readonly lifts?: boolean
  /** Meters, sensors and links that it makes useless, so that what they watch over may take longer. */
  readonly blinds?: readonly ('bus' | 'supply' | 'sense' | 'case')[]
}

// These times repeat limits of the program on purpose: imported, a limit that was loosened there would loosen what judges it here.

/** An exchange that fails: its deadline, getting in step again, and the safe-off until it is sent. */
export const exchangeMs = 6000
export const pulseMs = 250
const onBus: readonly (NightStage | 'none')[] = ['polarity', 'forming', 'soaking', 'formal']
const standing: readonly (NightStage | 'none')[] = ['soaking', 'formal']

export const busStaleMs = ({ busMs, busQuietMs }: Cadence): number => 3 * Math.max(busMs, busQuietMs) + 1000 + pulseMs + exchangeMs
export const sweepStaleMs = ({ sweepQuietMs, sweepMs }: Cadence): number =>
  2 * sweepQuietMs + 2 * sweepMs + 1000 + pulseMs + exchangeMs
/** Three samples, two sweeps and 5 s, and one quiet reading until it is seen. */
const busUnderMs = ({ busQuietMs, sweepMs }: Cadence): number =>
  Math.max(3 * busQuietMs, 2 * sweepMs + 5000) + busQuietMs + exchangeMs
export const busOverMs = ({ busQuietMs }: Cadence): number => 2 * busQuietMs + exchangeMs
/** The supply's own voltmeter, seldom read, off for twice as long as a sag may last. */
export const readBackMs = ({ busQuietMs, sweepMs }: Cadence): number =>
  Math.max(20_000, 2 * (2 * sweepMs + 5000)) + 2 * Math.max(5000, 5 * busQuietMs) + 2 * busQuietMs + exchangeMs
const holdMs = 4000
const beatMs = 1000

const device = (name: InstrumentName, spec: FaultSpec): (() => Strike) => () => bench =>
  bench.sim.instrument(name).device.faults.set(spec)
const drawnSpec = (name: InstrumentName, spec: (setting: Setting) => FaultSpec) => (setting: Setting): Strike => {
  const drawn = spec(setting)
  return bench => bench.sim.instrument(name).device.faults.set(drawn)
}
const fixture = (kind: FixtureFault['kind']) => ({ random, positions }: Setting): Strike => {
  const position = random.pick(positions)
  return bench => bench.sim.fixtureFault({ position, kind })
}
const shared = (kind: SharedFault['kind']): (() => Strike) => () => bench => bench.sim.sharedFault({ kind })
const store = (trouble: StoreTrouble): (() => Strike) => () => bench => bench.setStore(trouble)
const run = (
  kind: string, weight: number, strike: Trouble['strike'] & {}, rest: Partial<Trouble> = {},
): Trouble => ({ kind, weight, at: 'run', strike, ...rest })
const within = (ms: (cadence: Cadence) => number, stages?: readonly (NightStage | 'none')[]): Trouble['offMs'] & {} =>
  (cadence, stage) => stages === undefined || stages.includes(stage) ? ms(cadence) : null

const links: readonly Trouble[] = (['psu', 'bus-dmm', 'sense-dmm', 'scanner', 'relays', 'cutoff', 'thermometer', 'bridge', 'interlock'] as const)
  .flatMap(name => [
    run(`${name} silent`, 2, device(name, { kind: 'silent' }), silenceOf(name)),
    run(`${name} answers late`, 1, drawnSpec(name, ({ random }) => ({ kind: 'delay', value: Math.round(random.uniform(200, 4000)), times: 20 }))),
    run(`${name} sends garbage`, 1, drawnSpec(name, ({ random }) => ({ kind: 'garbage', times: random.integer(1, 30) }))),
    run(`${name} cuts answers short`, 1, drawnSpec(name, ({ random }) => ({ kind: 'truncate', value: random.integer(1, 5), times: random.integer(1, 10) }))),
    run(`${name} echoes`, 1, drawnSpec(name, ({ random }) => ({ kind: 'echo', times: random.integer(1, 10) }))),
    run(`${name} gives a wrong answer`, 1, drawnSpec(name, ({ random }) => ({ kind: 'wrong-answer', value: random.pick(['0', '+9.9E37', 'NAN', '17', '']), times: random.integer(1, 3) }))),
    run(`${name} speaks unasked`, 0.5, drawnSpec(name, ({ random }) => ({ kind: 'unsolicited', value: '+0.00000E+00', times: random.integer(1, 5) }))),
    run(`${name} unplugged`, 1.5, () => bench => bench.sim.instrument(name).device.disconnect(), unplugOf(name)),
  ])

function silenceOf(name: InstrumentName): Partial<Trouble> {
  if (name === 'psu') return { excuse: { supplyOn: true }, offMs: within(busStaleMs), blinds: ['supply'] }
  if (name === 'bus-dmm') return { offMs: within(busStaleMs), blinds: ['bus'] }
  if (name === 'sense-dmm' || name === 'scanner') return { offMs: within(sweepStaleMs, onBus), blinds: ['sense'] }
  if (name === 'relays') return { offMs: within(c => c.sweepQuietMs + c.sweepMs + exchangeMs, ['soaking']), excuse: { relaysHeld: true } }
  if (name === 'interlock') return { offMs: within(c => c.busQuietMs + exchangeMs) }
  return name === 'thermometer' ? { blinds: ['case'] } : {}
}

/** The link to something that can energise went down while armed. */
function unplugOf(name: InstrumentName): Partial<Trouble> {
  return ['psu', 'relays', 'cutoff'].includes(name) ? { offMs: within(() => beatMs + exchangeMs) } : {}
}

const farAbove = ({ random, targetV }: Setting): FaultSpec =>
  ({ kind: 'output-runaway', value: random.uniform(1.06, 1.3) * targetV + 4 })

const supply: readonly Trouble[] = [
  run('supply stays on', 3, device('psu', { kind: 'output-stays-on' }), { excuse: { supplyOn: true } }),
  run('supply deaf', 2, device('psu', { kind: 'deaf' }), { excuse: { supplyOn: true }, offMs: within(busStaleMs), blinds: ['supply'] }),
  run('supply runs away', 6, drawnSpec('psu', farAbove), { offMs: within(busOverMs, onBus), lifts: true }),
  // A regulator that fails may take its own protection with it.
  run('supply runs away unprotected', 5, setting => {
    const away = drawnSpec('psu', farAbove)(setting)
    return bench => { device('psu', { kind: 'protection-silent' })()(bench); away(bench) }
  }, { offMs: within(busOverMs, onBus), lifts: true }),
  run('supply creeps up', 3, drawnSpec('psu', ({ random, targetV }) => ({ kind: 'output-runaway', value: random.uniform(1.005, 1.04) * targetV + 2 }))),
  run('supply loses power', 3, device('psu', { kind: 'power-cycle' }), { offMs: within(() => 100) }),
  run('supply overshoots', 2, drawnSpec('psu', ({ random }) => ({ kind: 'output-overshoot', value: random.uniform(2, 40) })), { excuse: { tooHighMs: 400 } }),
  run('supply protection silent', 2, device('psu', { kind: 'protection-silent' })),
  run('supply comes on when cleared', 2, device('psu', { kind: 'clear-restores-output' })),
  run('supply read-back lies', 2, drawnSpec('psu', ({ random, targetV }) => ({ kind: 'read-back-lies', value: Math.round(random.uniform(0, targetV)) }))),
  run('supply reading stuck', 2, device('psu', { kind: 'reading-stuck' }), { blinds: ['supply'] }),
]

const meters: readonly Trouble[] = [
  run('bus meter lead open', 5, shared('bus-meter-lead-open'), { offMs: within(busUnderMs, standing), blinds: ['bus'] }),
  run('bus meter stuck', 3, device('bus-dmm', { kind: 'reading-stuck' }), { blinds: ['bus'] }),
  run('bus meter jumps', 3, drawnSpec('bus-dmm', ({ random, targetV }) => ({ kind: 'reading-jump', value: -random.uniform(0.1, 0.5) * targetV - 8 })),
    { offMs: within(busUnderMs, standing), blinds: ['bus'] }),
  run('sense meter stuck', 3, device('sense-dmm', { kind: 'reading-stuck' }), { blinds: ['sense'] }),
  run('scanner contacts dead', 2, device('scanner', { kind: 'relay-dead' }), { blinds: ['sense'] }),
  run('scanner stuck on P01', 2, () => bench => {
    bench.sim.instrument('scanner').device.faults.set({ kind: 'relay-welded', value: 101 })
    bench.sim.instrument('scanner').device.faults.set({ kind: 'relay-dead' })
  }, { blinds: ['sense'] }),
  run('case sensor open', 2, drawnSpec('thermometer', ({ random, positions }) => ({ kind: 'sensor-open', value: random.integer(1, positions.length) })), { blinds: ['case'] }),
  run('case sensor short', 1, drawnSpec('thermometer', ({ random, positions }) => ({ kind: 'sensor-short', value: random.integer(1, positions.length) })), { blinds: ['case'] }),
  run('case sensor stuck', 1, device('thermometer', { kind: 'reading-stuck' }), { blinds: ['case'] }),
  run('case sensor jumps', 1, drawnSpec('thermometer', ({ random }) => ({ kind: 'reading-jump', value: random.uniform(-30, 60) })), { blinds: ['case'] }),
]

const wiring: readonly Trouble[] = [
  run('position relay welded', 4, fixture('relay-welded'), { excuse: { busLive: true, tooHighMs: 0 } }),
  run('lead open', 5, fixture('lead-open')),
  run('bleeder open', 4, fixture('bleeder-open')),
  run('formal relay welded', 2, fixture('formal-welded')),
  run('formal relay dead', 2, fixture('formal-dead')),
  run('bridge relay dead', 1, fixture('bridge-dead')),
  run('bus bleeder open', 2, shared('bus-bleeder-open'), { excuse: { busLive: true } }),
  run('watch relay stuck open', 2, shared('watch-dead')),
  run('watch relay stuck closed', 1, shared('watch-welded')),
  run('cutoff welded', 3, device('cutoff', { kind: 'relay-welds' }), { excuse: { contactClosed: true } }),
  run('cutoff welded unseen', 2, () => bench => { bench.sim.sharedFault({ kind: 'cutoff-welded-unseen' }); bench.weldedUnseen = true }),
  run('cutoff drops', 3, device('cutoff', { kind: 'relay-dead' }), { offMs: within(() => 200) }),
  run('cutoff loses power', 3, device('cutoff', { kind: 'power-cycle' }), { offMs: within(() => 200) }),
  run('relay board loses power', 4, device('relays', { kind: 'power-cycle' }), { offMs: within(c => c.sweepQuietMs + c.sweepMs + exchangeMs, ['soaking', 'forming']) }),
  run('relay board deaf', 3, device('relays', { kind: 'deaf' }), { excuse: { relaysHeld: true, busLive: true }, offMs: within(c => c.sweepQuietMs + c.sweepMs + exchangeMs, ['soaking']) }),
  run('cover opened', 6, () => bench => { bench.sim.switches.coverClosed = false }, { offMs: within(() => 100) }),
  run('cover bounces', 3, () => ({ sim, clock }) => {
    sim.switches.coverClosed = false
    clock.after(5, () => { sim.switches.coverClosed = true })
  }, { offMs: within(() => 100) }),
  run('cover contact bounces at its reader', 1, device('interlock', { kind: 'cover-bounce', value: 700 })),
]

const endless = (): Promise<never> => new Promise(() => {})

const program: readonly Trouble[] = [
  run('reading of the bus never ends', 2, () => ({ composed }) => { composed.roles['bus-meter']!.readVoltage = endless },
    { offMs: within(busStaleMs), blinds: ['bus'] }),
  run('reading of the parts never ends', 2, () => ({ composed }) => { composed.roles['sense-meter']!.readVoltage = endless },
    { offMs: within(sweepStaleMs, onBus), blinds: ['sense'] }),
  run('person stops', 5, () => ({ daemon, daemonLife }) => { if (daemonLife.acts) void daemon.stop('enough for tonight') }, { offMs: within(() => 1500) }),
  run('daemon killed', 6, () => bench => bench.killDaemon(), { excuse: { killed: true }, offMs: within(() => 1500) }),
  run('daemon stands still', 5, () => bench => { bench.daemonLife.stopped = true }, { excuse: { killed: true }, offMs: within(() => beatMs + 1500) }),
  run('keeper killed', 6, () => bench => bench.killKeeper(), { offMs: within(() => holdMs + 500) }),
  run('keeper stands still', 4, () => bench => { bench.keeperLife.stopped = true }, { offMs: within(() => holdMs + 1500) }),
  run('daemon and keeper killed', 6, () => bench => { bench.killKeeper(); bench.killDaemon() }, { excuse: { killed: true }, offMs: within(() => holdMs + 500) }),
  run('store full', 3, store('full'), { excuse: { recordTorn: true }, offMs: within(c => c.busQuietMs + 1000 + exchangeMs) }),
  run('store failing', 2, store('failing'), { excuse: { recordTorn: true }, offMs: within(c => c.busQuietMs + 1000 + exchangeMs) }),
  run('store hangs', 2, store('hanging'), { excuse: { recordTorn: true }, offMs: within(c => c.busQuietMs + 1000 + 10_000 + exchangeMs) }),
  run('store slow', 2, store('slow')),
  run('host sleeps', 5, ({ random }) => { const ms = random.uniform(12_000, 600_000); return ({ clock }) => clock.sleepHost(ms) }, { offMs: within(() => pulseMs + exchangeMs) }),
  run('clock set ahead', 3, ({ random }) => { const ms = random.uniform(6000, 7.2e6); return ({ clock }) => clock.stepWall(ms) }, { offMs: within(() => pulseMs + exchangeMs) }),
  run('clock set back', 2, ({ random }) => { const ms = random.uniform(6000, 7.2e6); return ({ clock }) => clock.stepWall(-ms) }),
]

const start: readonly Trouble[] = [
  { kind: 'another supply', weight: 1, at: 'start', strike: device('psu', { kind: 'swapped-identity', value: 'SIMULATED,DC SUPPLY 60V,psu-2,1.0' }) },
  { kind: 'another meter', weight: 1, at: 'start', strike: device('sense-dmm', { kind: 'swapped-identity', value: 'SIMULATED,MULTIMETER,other,1.0' }) },
  { kind: 'ports swapped', weight: 2, at: 'start', strike: () => bench => bench.swapPorts('bus-dmm', 'sense-dmm') },
  run('meters change ports', 1, () => bench => bench.swapPorts('bus-dmm', 'sense-dmm'), { blinds: ['bus', 'sense'] }),
]

const parts: readonly Trouble[] = ([
  ['shorting', 8], ['opening', 4], ['scintillating', 4], ['overheating', 5], ['reversed', 4], ['bad-contact', 5],
  ['hopeless-leaky', 3], ['dried-out', 3], ['very-stale', 2],
] as const).map(([part, weight]) => ({ kind: `${part} part`, weight, at: 'part', part }))

export const troubles: readonly Trouble[] = [...links, ...supply, ...meters, ...wiring, ...program, ...start, ...parts]
