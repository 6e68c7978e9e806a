/**
 * Real processes on real links in real time: something happens to daemon, keeper, link or disk at a random
 * moment of a night, again and again. Prints a table; with `--json` one object as the last line. Ends with 1
 * where energy stayed on, a reading was lost or a record was broken.
 */
import { mkdtempSync, rmSync } from 'node:fs'
import { loadavg, tmpdir } from 'node:os'
import { join } from 'node:path'
import { parseArgs } from 'node:util'
import { SeededRandom } from '../src/base/random.ts'
import { kinds, type Kind } from './kinds.ts'
import { Lane, type RoundOutcome } from './round.ts'
import { summary, tableLine, type KindSummary } from './summary.ts'

const { values: asked } = parseArgs({
  options: {
    count: { type: 'string', default: '5' }, kind: { type: 'string', multiple: true },
    lanes: { type: 'string', default: '1' }, json: { type: 'boolean', default: false },
    seed: { type: 'string', default: String(Date.now() % 1e6) },
  },
})

function wanted(): readonly Kind[] {
  const names = asked.kind
  const unknown = names?.find(name => !kinds.some(kind => kind.name === name))
  if (unknown !== undefined) {
    throw new Error(`there is no kind ${unknown}; there are ${kinds.map(({ name }) => name).join(', ')}`)
  }
  return names === undefined ? kinds : kinds.filter(({ name }) => names.includes(name))
}

/** Half of the rounds over TCP, half over pseudo terminals; `--lanes` benches of each at the same time. */
async function roundsOf(
  kind: Kind, count: number, random: SeededRandom, folder: string,
): Promise<KindSummary> {
  const outcomes: RoundOutcome[] = []
  const links = kind.serialOnly ? [true] : [false, true]
  const places = Array.from({ length: Number(asked.lanes) }, () => links).flat()
  const lanes = places.map((serial, i) => ({
    serial, lane: new Lane(folder, serial, random.fork(`lane ${i}`)),
    share: Math.floor(count / places.length) + (i < count % places.length ? 1 : 0),
  }))
  try {
    // All lanes first come to rest: their folders go, and what one of them threw is told.
    const ends = await Promise.allSettled(lanes.map(async ({ serial, lane, share }) => {
      for (let i = 0; i < share; i++) outcomes.push(await told(kind, serial, i, lane))
    }))
    for (const end of ends) if (end.status === 'rejected') throw end.reason
    return summary(kind, outcomes, lanes[0]!.lane.disk?.how ?? null)
  } finally {
    for (const { lane } of lanes) await lane.close()
  }
}

/** What is wrong is told at once, on the other stream. */
async function told(kind: Kind, serial: boolean, round: number, lane: Lane): Promise<RoundOutcome> {
  const outcome = await lane.round(kind)
  const wrong = outcome.energised ?? outcome.corrupt
    ?? (outcome.lostReadings > 0 ? `${outcome.lostReadings} readings lost` : null)
  if (wrong !== null) console.error(`${kind.name} ${serial ? 'pty' : 'tcp'} round ${round + 1}: ${wrong}`)
  return outcome
}

async function main(): Promise<void> {
  const random = new SeededRandom(Number(asked.seed))
  const folder = mkdtempSync(join(tmpdir(), 'rounds-'))
  const startedMs = performance.now()
  const found: KindSummary[] = []
  try {
    for (const kind of wanted()) {
      const one = await roundsOf(kind, Number(asked.count), random.fork(kind.name), folder)
      found.push(one)
      console.log(tableLine(one))
    }
  } finally {
    rmSync(folder, { recursive: true, force: true, maxRetries: 5 })
  }
  const wallS = (performance.now() - startedMs) / 1000
  const seed = Number(asked.seed)
  if (asked.json) console.log(JSON.stringify({ seed, wallS, load: loadavg(), kinds: found }))
  else console.log(`seed ${asked.seed}, ${wallS.toFixed(0)} s, load ${loadavg()[0]!.toFixed(1)}`)
  if (found.some(({ energised, lostReadings, corrupt }) => energised + lostReadings + corrupt > 0)) {
    process.exitCode = 1
  }
}

await main()
