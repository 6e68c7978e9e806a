/** Safety mechanisms, each taken away in turn to see that the campaign would notice. */
import { Supervisor } from '../src/safety/supervisor.ts'
import {
  atLeast, both, canary, CarelessKeeper, changing, coilWithoutCover, ignoring, inTurn, keeping, only, OrphanKeeper, PatientKeeper, preparing, reading,
  running, striking, troubled, TrustingKeeper,
} from './canary.ts'
import type { Canary } from './canary.ts'

const untouched = (): void => {}
const onBus = ['polarity', 'forming', 'soaking', 'formal']
const standing = ['soaking', 'formal']

export const canaries: readonly Canary[] = [
  // ---- what the supervisor watches ----
  canary('bus too high (bus.over, bus.most, bus.rise)', striking(['supply runs away unprotected'], onBus), ignoring('bus.over', 'bus.most', 'bus.rise')),
  canary('bus fallen (bus.under)', striking(['bus meter lead open', 'bus meter jumps'], standing), ignoring('bus.under')),
  canary('read-back against set-point (supply.read-back)', inTurn(['bus meter stuck'], ['supply runs away unprotected'], 'soaking'), ignoring('supply.read-back')),
  canary('stray current (P.stray)', troubled('position relay welded'), ignoring('P.stray')),
  canary('heat of a can (P.case, P.case-rise)', only('overheating part'), ignoring('P.case', 'P.case-rise')),
  canary('part limits (current, flash, charge, case)', only('overheating part', 'shorting part'), ignoring('P.current', 'P.flash', 'P.charge', 'P.case', 'P.case-rise')),
  canary('freshness of readings', troubled('reading of the bus never ends', 'reading of the parts never ends'),
    changing(() => { Supervisor.prototype.checkFreshness = () => null })),
  canary('envelope of set-points (permit)', running('stubborn'), changing(() => { Supervisor.prototype.permit = untouched })),
  // ---- what the engine does ----
  canary('proof of dead by charge', striking(['lead open', 'bleeder open', 'scanner contacts dead', 'sense meter stuck'], standing), reading('safety/dead', 'chargeRatioMin = 0.5', 'chargeRatioMin = -1')),
  canary('proof of dead by the shape of the discharge', striking(['lead open', 'bleeder open'], ['bleeding']), reading('safety/dead', 'const quickest = 3', 'const quickest = 1e9')),
  canary('bridge only after proof of dead', striking(['lead open', 'bleeder open'], standing),
    reading('sequences/bridge', '!isKnownLow(position.held)', 'false'), reading('sequences/bridge', 'knownV >= harmlessV', 'false'), reading('sequences/bridge', '!(worstV < harmlessV)', 'false')),
  canary('routing check', both(only('scanner stuck on P01'), striking(['scanner stuck on P01'], ['forming', 'soaking']), atLeast(2)), reading('engine/bleed', 'routingShare = 0.1', 'routingShare = 1e9')),
  canary('read-back of the cutoff (cutoff.open)', inTurn(['cutoff welded unseen'], ['cutoff drops', 'cutoff loses power'], 'soaking'),
    reading('engine/side-loops', "intake.fault('cutoff.open', ", 'void (')),
  canary('relays still held', striking(['relay board loses power'], ['soaking', 'forming']), reading('engine/relay-watch', '!held[i] && isHeld', 'false && isHeld')),
  canary('drop releases', only('shorting part', 'overheating part'), reading('engine/drop', 'await release(night, [position])', 'void release')),
  canary('identities', troubled('another supply', 'another meter', 'ports swapped'), reading('engine/arm', 'await night.checkIdentities()', 'void night')),
  canary('store that fails', troubled('store full', 'store failing'), reading('engine/recorder', 'this.#onFailure(error)', 'void error')),
  canary('store that hangs', troubled('store hangs'), reading('engine/recorder', 'storeLateMs = 10_000', 'storeLateMs = 1e12')),
  canary('readings durable within a second', troubled('daemon killed'), reading('engine/recorder', 'const batchMs = 1000', 'const batchMs = 100_000')),
  // ---- keeper, host, and what needs no program ----
  canary('keeper withholds after a safe-off', running('stubborn'), keeping(TrustingKeeper)),
  canary('keeper heartbeat', troubled('daemon stands still'), keeping(PatientKeeper)),
  canary('keeper notices the daemon gone (pipe, heartbeat)', troubled('daemon killed'), keeping(OrphanKeeper)),
  canary('keeper notices a lost link', striking(['psu unplugged', 'relays unplugged', 'cutoff unplugged'], onBus), keeping(CarelessKeeper)),
  canary('safe-off opens the cutoff', striking(['supply stays on', 'supply deaf', 'psu silent'], onBus), reading('keeper/table', 'mains, cutoff, supply, ', 'mains, supply, ')),
  canary('safe-off switches the supply off', striking(['cutoff welded', 'cutoff welded unseen'], onBus), reading('keeper/table', 'mains, cutoff, supply, ', 'mains, cutoff, ')),
  canary('wall clock', troubled('clock set ahead'), reading('app/pulse', 'clockStepMs = 5000', 'clockStepMs = 1e15')),
  canary('cover contact in the coil of the cutoff', striking(['cover opened'], onBus),
    preparing(coilWithoutCover)),
  canary("the supply's communication watchdog", striking(['supply deaf'], onBus),
    reading('engine/supply-watchdog', 'return await supply.armWatchdog(seconds)', 'return seconds')),
  canary('hold-in cutoff', troubled('daemon and keeper killed'), preparing(({ sim }) => { sim.instruments.cutoff.holdMs = 1e12 })),
  canary('interrupted runs are marked', troubled('daemon killed', 'daemon and keeper killed'), reading('app/recovery', 'await store.interruptRunning(', 'await (async () => [])(')),
  canary('safe-off at the start', troubled('daemon stands still', 'daemon and keeper killed'), reading('app/recovery', "keeper.safeOff('start of the daemon')", 'Promise.resolve()')),
]
