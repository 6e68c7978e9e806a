/**
 * The truth study: many simulated parts whose truth is known, a fresh bench for each, and the question
 * whether what the software says of them is right at the rates it claims. `npm run truth -- --parts 2000
 * --seed 1`; with `--study NAME` (several allowed) one with a disturbance, with `--all` every one; `--json`
 * prints one object as the last line. Exit code 1 when an undisturbed study fails a test. `--study screening`
 * screens parts of all kinds, each in a session of its own; `--count` is another word for `--parts`.
 */
import { fork } from 'node:child_process'
import { availableParallelism } from 'node:os'
import { fileURLToPath } from 'node:url'
import { parseArgs } from 'node:util'
import type { Outcome } from './truth/night.ts'
import { failures, score, type Count, type Coverage, type Score } from './truth/score.ts'
import { scoreScreening, screeningFailures, screeningLines, type ScreeningScore } from './truth-screening/score.ts'
import { screenOne, type Screened } from './truth-screening/session.ts'
import { isStudy, runStudy, studies, type StudyName } from './truth/study.ts'

const screening = 'screening'
interface Slice { study: StudyName | typeof screening; seed: number; from: number; to: number }

if (process.send) {
  process.once('message', ({ study, seed, from, to }: Slice) => {
    void (study === screening ? screenAll(seed, from, to) : runStudy(study, seed, from, to)).then(outcomes => {
      process.send!(outcomes, () => process.disconnect())
    })
  })
} else {
  await main()
}

async function main(): Promise<void> {
  const { values: asked } = parseArgs({ options: {
    parts: { type: 'string', default: '2000' }, count: { type: 'string' }, seed: { type: 'string', default: '1' },
    study: { type: 'string', multiple: true, default: ['normal'] }, all: { type: 'boolean', default: false },
    jobs: { type: 'string', default: String(availableParallelism()) },
    json: { type: 'boolean', default: false },
  } })
  const names = asked.all ? Object.keys(studies) : asked.study
  const scores: Record<string, Score | ScreeningScore> = {}
  const [seed, parts, jobs] = [Number(asked.seed), Number(asked.count ?? asked.parts), Number(asked.jobs)]
  for (const name of names) {
    if (name === screening) {
      scores[name] = await screeningStudy(seed, parts, jobs)
      continue
    }
    if (!isStudy(name)) throw new Error(`no study ${name}: one of ${Object.keys(studies).join(', ')}`)
    const startedMs = performance.now()
    const outcomes = await inSlices<Outcome>(name, seed, parts, jobs)
    const scored = scores[name] = score(outcomes, name === 'forming' ? 'forming' : 'steady')
    console.log(`\n${name}: ${studies[name].says}`)
    const seconds = ((performance.now() - startedMs) / 1000).toFixed(0)
    console.log(`seed ${seed}, ${parts} parts, ${seconds} s`)
    for (const line of linesOf(scored)) console.log(line)
    if (name !== 'normal' && name !== 'rectangular') continue
    const failed = failures(scored, name)
    console.log(failed.length === 0 ? 'passed' : `FAILED: ${failed.join(', ')}`)
    if (failed.length > 0) process.exitCode = 1
  }
  if (asked.json) console.log(JSON.stringify(scores))
}

async function screenAll(seed: number, from: number, to: number): Promise<Screened[]> {
  const screened: Screened[] = []
  for (let index = from; index < to; index++) screened.push(await screenOne(seed, index, 'normal'))
  return screened
}

async function screeningStudy(seed: number, parts: number, jobs: number): Promise<ScreeningScore> {
  const startedMs = performance.now()
  const scored = scoreScreening(await inSlices<Screened>(screening, seed, parts, jobs))
  console.log(`\nscreening, seed ${seed}, ${((performance.now() - startedMs) / 1000).toFixed(0)} s`)
  for (const line of screeningLines(scored)) console.log(line)
  const failed = screeningFailures(scored)
  console.log(failed.length === 0 ? 'passed' : `FAILED: ${failed.join(', ')}`)
  if (failed.length > 0) process.exitCode = 1
  return scored
}

/** Each part is decided by seed and index alone, so how the work is cut changes nothing. */
async function inSlices<T>(study: Slice['study'], seed: number, parts: number, jobs: number): Promise<T[]> {
  const edges = Array.from({ length: jobs + 1 }, (_, i) => Math.round(parts * i / jobs))
  const slices = await Promise.all(edges.slice(1).map((to, i) =>
    sliceOf<T>({ study, seed, from: edges[i]!, to })))
  return slices.flat()
}

function sliceOf<T>(slice: Slice): Promise<T[]> {
  return new Promise((resolve, reject) => {
    const child = fork(fileURLToPath(import.meta.url), { serialization: 'advanced' })
    child.once('message', message => resolve(message as T[]))
    child.once('error', reject)
    child.once('exit', code => reject(new Error(`a slice ended with code ${code}`)))
    child.send(slice)
  })
}

function linesOf(of: Score): string[] {
  const covered = ({ n, inside, share, pTooShort, p }: Coverage): string =>
    `${inside} of ${n} = ${(100 * share).toFixed(2)} %, p too short ${show(pTooShort)}, two-sided ${show(p)}`
  const counted = ({ n, seen, predicted, p }: Count): string =>
    `${seen} of ${n}, predicted ${predicted.toFixed(1)}, p ${show(p)}`
  const names = ['leakage', 'capacitance', 'esr'] as const
  const { accepted, wrongly } = of.acceptedWrongly
  return [
    `${of.left} parts left without a formal reading, ${of.tripped} runs tripped`,
    `covered   current as read    ${covered(of.asRead)}`,
    ...names.map(name => `covered   ${name.padEnd(18)} ${covered(of.coverage[name])}`),
    ...names.flatMap(name => [
      `conform   ${name.padEnd(18)} ${counted(of.calibration[name].all)}`,
      ...of.calibration[name].strata.map(one =>
        `            from P ${one.from.toFixed(2)}       ${counted(one)}`),
    ]),
    ...names.flatMap(name => (['falseAccept', 'notAccepted', 'falseReject'] as const).map(what =>
      `${what.padEnd(12)}${name.padEnd(16)} ${counted(of.decisions[name][what])}`)),
    ...(['capacitance', 'esr'] as const).flatMap(name => (['consumer', 'producer'] as const).map(what =>
      `${what.padEnd(12)}${name.padEnd(16)} ${counted(of.global[name][what])}`)),
    `accepted by all three ${accepted}, of which do not conform ${wrongly}`,
  ]
}

function show(p: number): string { return p < 0.001 ? p.toExponential(1) : p.toFixed(3) }
