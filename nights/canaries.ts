/**
 * Safety mechanisms, each taken away in turn to see that the campaign would notice. Nothing in src knows of this: a class
 * is changed in the process that runs the canary, or the bench is given another keeper.
 */
import type { KeeperHostOptions } from '../src/keeper/host.ts'
import { KeeperHost } from '../src/keeper/host.ts'
import { Supervisor } from '../src/safety/supervisor.ts'
import type { CallOptions, WriteOptions } from '../src/scpi/port.ts'
import type { Seams } from './campaign-bench.ts'

export interface Canary {
  readonly mechanism: string
  /** Nights without a trouble of these kinds are counted and not run: they cannot show it. All are run where none is named. */
  readonly shownBy: readonly string[]
  /** Changes this process for good. */
  readonly disable: () => void
  readonly seams?: Seams
  /** Text of a built file that is read otherwise in the process of the canary; it must be there. */
  readonly rewrite?: Rewrite
}

export interface Rewrite { readonly file: string; readonly from: string; readonly to: string }

const without = (mechanism: string, shownBy: readonly string[], file: string, from: string, to: string): Canary =>
  ({ mechanism, shownBy, disable: untouched, rewrite: { file: `dist/src/${file}.js`, from, to } })

const untouched = (): void => {}

/** The supervisor does not see what these limits and watches see. */
function ignoring(...ids: readonly RegExp[]): () => void {
  return () => {
    const arm = Supervisor.prototype.arm
    const isIgnored = (id: string): boolean => ids.some(pattern => pattern.test(id))
    Supervisor.prototype.arm = function (limits, freshness, ceiling, nowMs, watches = []) {
      const blunted = limits.map(limit => isIgnored(limit.id) ? { ...limit, samples: Infinity } : limit)
      arm.call(this, blunted, freshness, ceiling, nowMs, watches.filter(({ id }) => !isIgnored(id)))
    }
  }
}

class TrustingKeeper extends KeeperHost {
  readonly #sessions: KeeperHostOptions['sessions']
  constructor(options: KeeperHostOptions) { super(options); this.#sessions = options.sessions }
  override query(link: string, command: string, options?: CallOptions): Promise<string> {
    return this.#through(link).query(command, options)
  }
  override write(link: string, command: string, options?: WriteOptions): Promise<void> {
    return this.#through(link).write(command, options)
  }
  #through(link: string) { return this.#sessions.get(link)! }
}

class PatientKeeper extends KeeperHost {
  override arm(table: Parameters<KeeperHost['arm']>[0]): void { super.arm(table, 1e12) }
}

class CarelessKeeper extends KeeperHost {
  override linkLost(): void {}
}

class OrphanKeeper extends KeeperHost {
  override daemonGone(): ReturnType<KeeperHost['daemonGone']> { return new Promise(() => {}) }
  override arm(table: Parameters<KeeperHost['arm']>[0]): void { super.arm(table, 1e12) }
}

const keeper = (make: new (options: KeeperHostOptions) => KeeperHost): Seams => ({ keeperHost: options => new make(options) })

export const canaries: readonly Canary[] = [
  { mechanism: 'bus too high (bus.over, bus.most, bus.rise)', shownBy: ['supply runs away unprotected'], disable: ignoring(/^bus\.(over|most|rise)$/) },
  { mechanism: 'bus fallen (bus.under)', shownBy: ['bus meter lead open', 'bus meter jumps'], disable: ignoring(/^bus\.under$/) },
  { mechanism: 'part limits (current, flash, charge, case)', shownBy: ['overheating part', 'shorting part'], disable: ignoring(/^P\d+\.(current|flash|charge|case|case-rise)$/) },
  { mechanism: 'freshness of readings', shownBy: ['reading of the bus never ends', 'reading of the parts never ends'],
    disable: () => { Supervisor.prototype.checkFreshness = () => null } },
  { mechanism: 'envelope of set-points (permit)', shownBy: ['stubborn'], disable: () => { Supervisor.prototype.permit = untouched } },
  { mechanism: 'keeper withholds after a safe-off', shownBy: ['stubborn'], disable: untouched, seams: keeper(TrustingKeeper) },
  { mechanism: 'keeper heartbeat', shownBy: ['daemon stands still'], disable: untouched, seams: keeper(PatientKeeper) },
  { mechanism: 'keeper notices the daemon gone (pipe, heartbeat)', shownBy: ['daemon killed'], disable: untouched, seams: keeper(OrphanKeeper) },
  { mechanism: 'keeper notices a lost link', shownBy: ['psu unplugged', 'relays unplugged', 'cutoff unplugged'], disable: untouched, seams: keeper(CarelessKeeper) },
  { mechanism: 'hold-in cutoff', shownBy: ['daemon and keeper killed'], disable: untouched,
    seams: { prepare: ({ sim }) => { sim.instruments.cutoff.holdMs = 1e12 } } },
  without('proof of dead by charge', ['lead open', 'bleeder open', 'scanner contacts dead', 'sense meter stuck'], 'safety/dead', 'chargeRatioMin = 0.5', 'chargeRatioMin = -1'),
  without('routing check', ['scanner stuck on P01'], 'engine/bleed', 'routingShare = 0.1', 'routingShare = 1e9'),
  without('relays still held', ['relay board loses power'], 'engine/relay-watch', '!held[i] && isHeld', 'false && isHeld'),
  without('stray current', ['position relay welded'], 'engine/stray', 'const readings = 3', 'const readings = Infinity'),
  without('drop releases', ['shorting part', 'overheating part'], 'engine/drop', 'await release(night, [position])', 'void release'),
  without('wall clock', ['clock set ahead'], 'app/pulse', 'clockStepMs = 5000', 'clockStepMs = 1e15'),
  without('store that fails', ['store full', 'store failing'], 'engine/recorder', 'this.#onFailure(error)', 'void error'),
  without('store that hangs', ['store hangs'], 'engine/recorder', 'storeLateMs = 10_000', 'storeLateMs = 1e12'),
  without('identities', ['another supply', 'another meter', 'ports swapped'], 'engine/arm', 'await night.checkIdentities()', 'void night'),
  without('interrupted runs are marked', ['daemon killed', 'daemon and keeper killed'], 'app/daemon', 'await this.store.interruptRunning(', 'await (async () => [])('),
  without('safe-off at the start', ['daemon stands still', 'daemon and keeper killed'], 'app/daemon', "this.#d.keeper.safeOff('start of the daemon')", 'Promise.resolve()'),
]
