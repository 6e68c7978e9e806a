/**
 * A burn-in from the unit armed and dead to what was found: mains on, levels learned, the programme until its
 * time has counted, a last look at rest, mains off and rails down.
 */
import { sleep } from '../base/clock.ts'
import { BenchError, hasCode } from '../base/errors.ts'
import { criteriaAtRest, unitFault, unitResult } from '../powering/judge.ts'
import { isFull } from '../powering/limits.ts'
import type { Power } from '../powering/power.ts'
import { railsDown } from '../powering/rails-down.ts'
import type { Demand } from '../safety/supervisor.ts'
import type { PartResult } from '../schema/run.ts'
import { countedS, hoursWords, type BurnIn } from './burn-in.ts'
import { freshClock } from './clock.ts'
import { look, tellCounted } from './count.ts'
import { follow, switchOff, switchOn, tellInrush, toneIs } from './drive.ts'
import { LookBook } from './drift.ts'
import { figuresOf, findingsOf } from './findings.ts'
import { learnGains } from './gains.ts'
import { heardOutputs } from './hear.ts'
import { hearLevels } from './levels.ts'
import { askedS, phaseWords, programmeOf, type BurnInParameters } from './parameters.ts'
import { pauseIfLong } from './pause.ts'
import { dueAt } from './programme.ts'
import { firstRestS, keepIdle, restIfDue } from './rest.ts'
import { spot, spotIfDue } from './spots.ts'
import { burnInWatches } from './watches.ts'

/** Between two looks, ms. */
export const lookEveryMs = 1000

export async function burnIn(
  power: Power, sweep: () => Promise<void>, parameters: BurnInParameters,
): Promise<PartResult> {
  const b = begun(power, sweep, parameters)
  for (const watch of burnInWatches(b)) power.supervisor.addWatch(watch)
  try {
    await power.recorder.event({ kind: 'burn-in', text: beginWords(b) })
    await comeUp(b)
    await programme(b)
    return await atRest(b)
  } catch (error) {
    faultOf(power, error)
    return cutShort(b)
  } finally {
    await tellCounted(b).catch(() => {})
  }
}

function begun(power: Power, sweep: () => Promise<void>, parameters: BurnInParameters): BurnIn {
  const { roles: { thermometer, mainsSwitch }, places, clock } = power
  const fullWay = mainsSwitch.ways.find(isFull)
  if (fullWay === undefined) throw new BenchError('REFUSED', 'a burn-in needs a way straight to the mains')
  const { alreadyCountedS } = parameters
  return {
    power, sweep, parameters, programme: programmeOf(parameters), askedS: askedS(parameters), fullWay,
    heard: heardOutputs(power), gains: new Map(), clock: freshClock, startedWallMs: clock.wallMs(),
    warmthRules: places.temperatures.map(({ spec: { place, maxC }, channel }) => ({
      place, by: parameters.steadyBy, limitC: maxC, channel: channel.name,
      noiseK: thermometer?.noiseK ?? 0, stepK: thermometer?.stepK ?? 0,
    })),
    phase: null, key: '', drive: 'off', outputW: 0, tone: null, closedAtMs: null, switchings: 0,
    inrush: { lastA: 0, mostA: 0, firstA: null }, levels: new Map(), dropouts: new Map(), heardAtMs: 0,
    warming: new Map(), keySinceS: alreadyCountedS, isWarm: false, seenAtMs: new Map(),
    book: new LookBook(parameters.lookS), points: new Map(), tooDistorted: new Map(),
    nextSpotS: alreadyCountedS + parameters.spotEveryS,
    nextRestS: alreadyCountedS + firstRestS, isResting: false, calmFromS: alreadyCountedS,
    toldAtS: alreadyCountedS, seenToMs: 0,
  }
}

const beginWords = ({ askedS: asked, parameters: { programme, alreadyCountedS } }: BurnIn): string =>
  `${hoursWords(asked)} of burn-in: ${programme.map(phaseWords).join(', then ')}`
    + (alreadyCountedS > 0 ? `; goes on at ${hoursWords(alreadyCountedS)}` : '')

/** Mains on, rails given their time, and the levels of the programme found with little signal. */
async function comeUp(b: BurnIn): Promise<void> {
  const { power, parameters } = b
  power.state.stage = 'comes up'
  power.state.counted = { countedS: countedS(b), askedS: b.askedS, waits: 'the unit comes up' }
  await switchOn(b)
  await sleep(power.clock, 1000 * parameters.standS, power.signal)
  power.state.stage = 'finds its levels'
  b.gains = await learnGains(power, parameters)
}

async function programme(b: BurnIn): Promise<void> {
  const { power: { clock, signal } } = b
  for (;;) {
    const startedMs = clock.monotonicMs()
    const due = dueAt(b.programme, countedS(b))
    if (due.phase === null) return await lastSpot(b)
    await enter(b, due.phase)
    await restIfDue(b, due)
    await follow(b, due)
    await hearLevels(b)
    await spotIfDue(b)
    await look(b, due)
    await tellInrush(b)
    await pauseIfLong(b, due)
    await sleep(clock, Math.max(1, startedMs + lookEveryMs - clock.monotonicMs()), signal)
  }
}

async function enter(b: BurnIn, phase: number): Promise<void> {
  if (b.phase === phase) return
  b.phase = phase
  const { programme: phases } = b.parameters
  const words = `phase ${phase + 1} of ${phases.length}: ${phaseWords(phases[phase]!)}`
  b.power.state.stage = words
  await b.power.recorder.event({ kind: 'phase', text: words, data: { countedS: countedS(b) } })
}

/** The end of what the first look began, while it is still driven. */
const lastSpot = async (b: BurnIn): Promise<void> => { if (b.tone !== null) await spot(b) }

/** Muted, everything is held against the limits of rest once more; then off, and down. */
async function atRest(b: BurnIn): Promise<PartResult> {
  const { power, parameters: { restS } } = b
  const { profile, places, request, clock, signal } = power
  power.state.stage = 'at rest, last look'
  await toneIs(b, null)
  if (power.state.way === null) await switchOn(b)
  await sleep(clock, 1000 * restS, signal)
  keepIdle(b)
  const { criteria, unread } = criteriaAtRest(profile, places, channel => {
    const last = power.state.last.get(channel)
    return last?.quality === 'good' ? last : null
  }, b.isWarm)
  await switchOff(b)
  if (!await railsDown(power, b.sweep)) {
    power.fault('rails', 'the rails were not measured dead after the mains opened')
  }
  const said = `${hoursWords(countedS(b))} of burn-in have counted`
  const result = unitResult(profile, request.specimen, criteria, unread, said)
  return { ...result, figures: { ...result.figures, ...figuresOf(b) }, unit: findingsOf(b, false) }
}

/** What could not be done ends a run as a trip does: hours of findings are not lost over it. */
function faultOf({ signal, state, fault }: Power, error: unknown): void {
  if (signal.aborted) return
  // Refused before the mains was ever on: nothing was begun.
  if (!state.wasOn) throw error
  fault('sequence', error instanceof Error ? error.message : String(error))
}

/**
 * Limits of the unit, and what its outputs did; all else is the bench's. So is a sensor that is open or off
 * its place, and a limit that was crossed by readings that tell nothing.
 */
const isOfUnit = ({ id, isBlind }: Demand): boolean => isBlind !== true && ofUnit.test(id)
const ofUnit = /^(mains\.(current|power|inrush)|rail\.|idle\.|warm\.(?!.*\.follows$)|output\.|.*\.dc\.)/

/** What a run that was shut down or stopped has found by then. */
function cutShort(b: BurnIn): PartResult {
  const { power: { profile, request, supervisor, signal } } = b
  const { latched } = supervisor
  const failed = latched !== null && isOfUnit(latched)
  const why = latched?.text ?? (hasCode(signal.reason, 'STOPPED') ? 'stopped' : 'ended')
  const reason = `after ${hoursWords(countedS(b))} of burn-in: ${why}`
  const result = unitFault(profile, request.specimen, reason)
  const graded: PartResult = failed ? result
    : { ...result, grade: 'cannot tell', disposition: 'retest', pConform: NaN }
  return { ...graded, figures: figuresOf(b), unit: findingsOf(b, failed) }
}
