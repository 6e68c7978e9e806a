/**
 * Runs every measurement and prints a table; with `--json` one object as the last line; with `--smoke` each
 * only briefly, to see that it runs: those figures mean nothing.
 */
import { availableParallelism, loadavg } from 'node:os'
import { parseArgs } from 'node:util'
import { measurePlainBurnIn, measureWiredBurnIn } from './burn-in.ts'
import { measureKeeper } from './keeper.ts'
import { measurePty, measureTcp } from './links.ts'
import { measureLotSheet } from './lots.ts'
import { measureMatching } from './matching.ts'
import { measureNight } from './night.ts'
import { measureRecord } from './record.ts'
import { measureRecorder } from './recorder.ts'
import { measureScreening } from './screening.ts'
import { measureSound } from './sound.ts'
import { measureTrips } from './trips.ts'
import { measureVerify } from './verify.ts'

const { values: asked } = parseArgs({
  options: { json: { type: 'boolean', default: false }, smoke: { type: 'boolean', default: false } },
})
const { smoke } = asked
/** Six hours of soak make a night of ten hours and more; without any it takes some four and a half. */
const longSoakS = 6 * 3600
/** The quickest sweep that 144 positions can hold with the instruments of the simulated bench. */
const scalingSweepMs = 8250

const figures: Record<string, unknown> = {}

function show(name: string, value: unknown, what: string): void {
  figures[name] = value
  const text = typeof value === 'number' ? value.toPrecision(4) : JSON.stringify(value)
  console.log(`${name.padEnd(18)} ${text.padEnd(12)} ${what}`)
}

const rounds = smoke ? { rounds: 1, roundTrips: 500, warmUp: 200 } : {}

async function links(): Promise<void> {
  const tcp = await measureTcp(rounds)
  show('tcpRatio', ratio(tcp.sessionPerS, tcp.barePerS),
    'round trips of a session over TCP, to a bare net loop')
  // Where a host has no pseudo terminals there is nothing to measure.
  const pty = await measurePty(rounds).catch((error: Error) => error)
  const noPty = pty instanceof Error
  show('ptyRatio', noPty ? null : ratio(pty.sessionPerS, pty.barePerS),
    noPty ? `not measured: ${pty.message}` : 'the same over a pseudo terminal, to a bare serialport loop')
  const keeper = await measureKeeper('tcp', rounds)
  show('keeperRatio', ratio(keeper.keeperPerS, keeper.directPerS),
    'round trips through the keeper, to a direct session, over TCP on this host: four wake-ups to two')
  show('relayRatio', ratio(keeper.relayPerS, keeper.directPerS),
    'the same through a process that only passes bytes on, with no logic in it: what any keeper could reach at most')
  const keeperPty = noPty ? null : await measureKeeper('pty', rounds)
  show('keeperPtyRatio', keeperPty && ratio(keeperPty.keeperPerS, keeperPty.directPerS),
    'the same over a pseudo terminal')
}

async function trips(): Promise<void> {
  const { tripUs, bareUs } = await measureTrips(smoke ? { trips: 2, positions: 4 } : {})
  const over = `${tripUs.length} trips`
  show('tripP50Ms', quantile(tripUs, 0.5) / 1000, `over-limit reading to output-off on the wire, ${over}`)
  show('tripP999Ms', quantile(tripUs, 0.999) / 1000,
    'the same, 99.9 % (the worst where trips are fewer than 1000)')
  show('bareP999Ms', quantile(bareUs, 0.999) / 1000, 'a bare net loop between them, under the same polling')
}

async function record(): Promise<void> {
  const load = { channels: 100, batch: 1000, readings: 10_000, rounds: 1 }
  const { ratio: recorderRatio } = await measureRecorder(smoke ? load : undefined)
  show('recorderRatio', recorderRatio, 'rows recorded, chain and levels included, to bare inserts')
  show('recordS', (await measureRecord()).recordS, 'test record of a night of 100,000 readings, s')
}

function matching(): void {
  const parts = smoke ? 40 : 2000
  const { seconds, rounds: searches } = measureMatching(parts)
  show('matchS', seconds, `${parts} parts into the cheapest pairs by three quantities, proven, s; ${searches} searches`)
}

async function screening(): Promise<void> {
  const { parts, ownPartMs, wholePartMs, heapEarlyMb, heapEndMb } = await measureScreening(smoke ? 20 : 10_000)
  show('screenPartMs', ownPartMs,
    `own time of the bench for each of ${parts} parts screened; ${wholePartMs.toPrecision(3)} with the simulated ones`)
  show('screenHeapMb', [heapEarlyMb, heapEndMb].map(Math.round),
    'used heap after a tenth of that session and at its end')
}

async function lots(): Promise<void> {
  const parts = smoke ? 100 : 10_000
  const { seconds, bytes } = await measureLotSheet(parts)
  show('lotSheetS', seconds, `sheet of ${parts} parts with two quantities, from the record to the page of ${Math.round(bytes / 1000)} kB, s`)
}

function sound(): void {
  const { chainMs, numpyMs, fitMs } = measureSound(smoke ? { rounds: 1, samples: 2 ** 14, fitted: 2 ** 12 } : {})
  const known = numpyMs.filter(one => one !== null)
  show('toneMs', quantile(chainMs, 0.5), 'level, frequency, harmonics, THD, THD+N of 2^20 samples, ms')
  show('toneOverNumpy', known.length === 0 ? null : ratio(chainMs, known),
    known.length === 0 ? 'not measured: no python3 with numpy' : 'the same to numpy\'s real transform alone')
  show('sineFitMs', fitMs, 'four-parameter fit of 2^16 samples, from nothing, ms')
}

async function nights(): Promise<void> {
  const night = await measureNight(smoke ? { positions: 4, soakS: 60 } : { positions: 48, soakS: longSoakS })
  const per = Math.round(night.readings / night.seconds)
  show('night48S', night.seconds,
    `${night.positions} positions, ${night.hours.toFixed(1)} h, ${night.readings} readings, ${per} a second`)
  show('night48RssMb', night.rssMostMb, `most in that night; ${night.rssStartMb.toFixed(0)} MB before it`)
  show('night48HeapMb', [night.heapMiddleMb, night.heapEndMb].map(Math.round),
    'used heap half way and at the end')
  const scaling: [number, number][] = []
  for (const positions of smoke ? [2, 4] : [48, 96, 144]) {
    const { seconds } = await measureNight({ positions, soakS: 0, sweepMs: scalingSweepMs })
    scaling.push([positions, Number(seconds.toFixed(1))])
  }
  show('nightScaling', scaling, `[positions, s]: nights without soak, swept each ${scalingSweepMs} ms`)
}

async function proofs(): Promise<void> {
  const { provingS, instrumentsS, cpuS, outsideShareMost, figures: told } = await measureVerify(smoke ? 2 : Infinity)
  show('verifyOutside', outsideShareMost,
    `of the time of a proof of two channels this process computes, with unit and instruments simulated in it: ${told} figures, `
      + `${cpuS.toFixed(1)} s of ${provingS.toFixed(0)} s of the bench`)
  show('verifyInside', instrumentsS / provingS, 'of it in instruments; the rest levels, supply and loads take to settle')
}

async function burnIns(): Promise<void> {
  const plain = await measurePlainBurnIn(smoke ? 1 : 72)
  show('burnIn72S', plain.seconds,
    `${plain.hours} h of burn-in, ${plain.readings} readings of 12 channels once a second, on a plain stand; each second committed`)
  show('burnIn72HeapMb', [plain.heapMiddleMb, plain.heapEndMb].map(Math.round), 'used heap half way and at the end')
  show('burnIn72RssMb', plain.rssMostMb, `most in it; ${plain.rssStartMb.toFixed(0)} MB before it`)
  const wired = await measureWiredBurnIn(smoke ? 0.5 : 6)
  show('burnInWiredS', wired.seconds,
    `${wired.hours} h with drivers, sessions and keeper around simulated instruments and an amplifier as physics`)
}

/** Median over rounds; both of a round were measured back to back. */
const ratio = (of: readonly number[], to: readonly number[]): number =>
  quantile(of.map((rate, i) => rate / to[i]!), 0.5)

function quantile(values: readonly number[], share: number): number {
  const sorted = [...values].sort((a, b) => a - b)
  return sorted[Math.max(0, Math.ceil(share * sorted.length) - 1)]!
}

const load = loadavg()[0]!.toFixed(2)
console.log(`node ${process.version}, ${availableParallelism()} processors, load ${load} at the start`)
if (smoke) console.log('smoke run: the figures below mean nothing')
await links()
await trips()
await record()
matching()
await screening()
sound()
await lots()
await nights()
await proofs()
await burnIns()
if (asked.json) console.log(JSON.stringify(figures))
