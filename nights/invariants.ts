/** What holds at the end of every night, however bad. Each breach is a sentence; a good night has none. */
import type { NightBench, Outcome } from './bad-night.ts'

type Judged = Outcome<NightBench>

/** What the fault of a night makes impossible, stated by the night itself. */
export interface Excuse {
  /** The contact of the cutoff cannot open. */
  contactClosed?: boolean
  /** The supply cannot be switched off. */
  supplyOn?: boolean
  /** The bus may still be above touch-safe: its bleeder is open, or a welded part holds it up. */
  busLive?: boolean
  /** A node may stand above 1.05 × target + 2 V for this long, ms. */
  tooHighMs?: number
  /** The relay board hears nothing. */
  relaysHeld?: boolean
  /** The store was made to fail, so the record need not be whole. */
  recordTorn?: boolean
  /** The daemon was killed: its run is interrupted, and what it read in its last second may be missing. */
  killed?: boolean
  /** … and no other started, because an instrument is missing: the run is marked interrupted by the next that does. */
  noDaemon?: boolean
}

const touchV = 60
/** What the clamp of a bridge takes, and a little. */
const bridgeV = 3.5
const sound = ['healthy', 'stale']
/** De-formed oxide reads up to 15 % high, and a third of rated voltage does not form a stale part back. */
const readsHigh = (kind: string | undefined, reason: string): boolean => kind === 'stale' && reason.startsWith('capacitance')

/** Every breach of what must hold, in words. */
export async function breaches(outcome: Judged, excuse: Excuse = {}): Promise<string[]> {
  return [
    ...leftOff(outcome, excuse), ...words(outcome), ...truthful(outcome, excuse),
    ...await grades(outcome), ...excuse.recordTorn ? [] : await record(outcome, excuse),
  ]
}

function leftOff({ bench, endV, tooHighMs }: Judged, excuse: Excuse): string[] {
  const { cutoff, psu, relays } = bench.sim.instruments
  const list: string[] = []
  if (cutoff.contact && !excuse.contactClosed) list.push('the contact of the cutoff is closed')
  if (psu.core.driven && !excuse.supplyOn) list.push('the supply is on')
  if (relays.coils.size > 0 && !excuse.relaysHeld) list.push(`relays ${[...relays.coils].join(', ')} are held`)
  if (!(endV.bus < touchV) && !excuse.busLive) list.push(`the bus stands at ${endV.bus.toFixed(1)} V`)
  if (tooHighMs > (excuse.tooHighMs ?? 0)) list.push(`a node stood too high for ${tooHighMs} ms`)
  bench.sim.audit().positions.forEach(({ bridgeMaxV }, index) => {
    if (bridgeMaxV > bridgeV) list.push(`the bridge met ${bridgeMaxV.toFixed(1)} V at position ${index + 1}`)
  })
  return list
}

function words({ falseWords, lastTouch, endV, events }: Judged): string[] {
  const list = falseWords.slice(0, 3).map(({ atMs, position, text, volts }) =>
    `${position} stood at ${volts.toFixed(1)} V at ${(atMs / 1000).toFixed(1)} s and was called "${text}"`)
  const dead = events.some(({ kind, text }) => kind === 'off' && text.includes('the bus is dead'))
  if (dead && endV.bus >= touchV) list.push(`the bus stands at ${endV.bus.toFixed(1)} V and was called dead`)
  for (const [position, text] of lastTouch) {
    const volts = Math.abs(endV.parts.get(position)!)
    if (volts >= touchV && !text.startsWith('NOT SAFE')) list.push(`${position} ends at ${volts.toFixed(1)} V and is called "${text}"`)
  }
  return list
}

function truthful({ run, events, bench, fed }: Judged, excuse: Excuse): string[] {
  const list: string[] = []
  const stopped = events.some(({ severity }) => severity === 'trip')
  const { latched, run: going } = bench.daemon.status()
  const asked = run.state === 'stopped'
  if (going !== null) list.push('the status shows a run after its end')
  // A part whose charge nobody saw leave is latched for a person to prove dead, also after a run that got done.
  const other = latched !== null && !latched.text.includes('may still hold a charge')
  if (run.state === 'done' && (stopped || other)) list.push('done, and yet tripped or latched')
  if (run.state === 'tripped' && !stopped && !excuse.recordTorn) list.push('tripped, and no event says why')
  if ((run.state === 'tripped' || asked) && latched === null) list.push(`${run.state}, and nothing is latched`)
  if (run.state === 'refused' && fed.events.some(({ kind }) => kind === 'energise')) list.push('refused after energy was on')
  if (!['done', 'tripped', 'stopped', 'refused', ...excuse.killed ? ['interrupted'] : [], ...excuse.noDaemon ? ['running'] : []].includes(run.state)) list.push(`the run ended as ${run.state}`)
  return list
}

/** A sound part is never condemned, whatever was wrong with the bench around it. */
async function grades({ bench, run }: Judged): Promise<string[]> {
  // Its words are about the bench, not about the parts on it.
  if (run.sequence === 'bench-check') return []
  const truth = new Map(bench.sim.truth().map(line => [line.position, line.kind]))
  return (await bench.store.results(run.id))
    .filter(({ position, grade, reason }) => grade === 'reject' && sound.includes(truth.get(position) ?? '')
      && !readsHigh(truth.get(position), reason))
    .map(({ position, reason }) => `${position} is sound and was rejected: ${reason}`)
}

/** Everything that the live feed showed is in the record, and the chain over it holds. */
async function record({ bench, run, events, fed }: Judged, { killed = false }: Excuse): Promise<string[]> {
  const list: string[] = []
  const kept = new Map<string, number>()
  const key = ({ kind, text, atMs }: { kind: string; text: string; atMs: number }): string => `${atMs} ${kind} ${text}`
  for (const event of events) kept.set(key(event), (kept.get(key(event)) ?? 0) + 1)
  for (const event of fed.events) {
    const left = kept.get(key(event)) ?? 0
    if (left === 0) list.push(`event lost: ${key(event)}`)
    kept.set(key(event), left - 1)
  }
  for (const [channel, count] of fed.readings) {
    const stored = (await bench.store.series(run.id, channel)).atMs.length
    if (killed ? stored < count : stored !== count) list.push(`channel ${channel}: ${count} readings shown, ${stored} kept`)
  }
  const broken = await bench.store.verifyChain(run.id)
  if (broken !== null) list.push(`the chain is broken at ${broken.seq}: ${broken.what}`)
  if ((await bench.store.run(run.id))?.state !== run.state) list.push('the store keeps another state')
  return list
}
