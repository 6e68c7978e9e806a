/** What the record says first: what went wrong, how the claims ended, what that shows and does not. Pure. */
import { formatCount, formatWall, noNumber } from '../base/format.ts'
import type { UnitSequence } from '../schema/powering.ts'
import type { UnitRecord, UnitRecordClaim, UnitRecordRun } from './unit-record-schema.ts'

/** All but what is said here. */
export type Told = Omit<UnitRecord, 'verdict' | 'cautions' | 'alarms' | 'touch'>

/** The newest run of a kind; null where none is on record. */
export const newestOf = (
  { runs }: Pick<UnitRecord, 'runs'>, sequence: UnitSequence,
): UnitRecordRun | null => runs.findLast(run => run.sequence === sequence) ?? null

export const stateWords: Readonly<Record<UnitRecordRun['state'], string>> = {
  prepared: 'was prepared and has not begun', running: 'is still going on', done: 'ran to its end',
  tripped: 'ended by a trip', stopped: 'was stopped by a person',
  interrupted: 'was interrupted before its end',
  refused: 'was refused before mains came on',
}
const didNotEnd: readonly UnitRecordRun['state'][] = ['tripped', 'interrupted', 'stopped', 'running']

/** Newest runs of each kind that did not get done, the newest first; what was refused undoes none. */
export function alarmsOf({ runs }: Told): UnitRecord['alarms'] {
  const begun = runs.filter(({ state }) => state !== 'refused')
  const newest = begun.filter(({ sequence }, i) => !begun.slice(i + 1).some(run => run.sequence === sequence))
  return newest.filter(({ state }) => didNotEnd.includes(state)).reverse()
    .map(run => ({ run: run.id, sequence: run.sequence, state: run.state, says: alarmWords(run) }))
}

function alarmWords(run: UnitRecordRun): string {
  const { sequence, id, state, startedWallMs, trips: [first], reason, warnings } = run
  const said = run.why || reason
  const why = said === '' ? '' : `: ${said}${first ? `, ${formatWall(first.wallMs)}` : ''}`
  const unread = warnings.find(({ says }) => says.includes('NOT READ BACK'))
  const begun = first ? '' : ` Begun ${formatWall(startedWallMs)}.`
  return `Run ${id} (${sequence}) ${stateWords[state]}${why}.${begun}${unread ? ` ${unread.says}.` : ''}`
}

/** Said by the newest run that gave it mains. */
export const touchOf = ({ runs }: Told): UnitRecord['touch'] =>
  runs.findLast(({ touch }) => touch !== null)?.touch ?? null

export function verdictOf(told: Told): UnitRecord['verdict'] {
  const count = (end: UnitRecordClaim['end']): number => told.claims.filter(one => one.end === end).length
  const counts = {
    met: count('met'), notMet: count('not met'), cannotBeTold: count('cannot be told'),
    notMeasured: count('not measured'),
  }
  return { end: endOf(told, counts), ...counts, says: claimsSay(told, counts), limits: limitsOf(told) }
}

type Counts = Pick<UnitRecord['verdict'], 'met' | 'notMet' | 'cannotBeTold' | 'notMeasured'>

function endOf({ claims }: Told, { met, notMet }: Counts): UnitRecord['verdict']['end'] {
  if (claims.length === 0) return 'nothing claimed'
  if (notMet > 0) return 'some not met'
  if (met === claims.length) return 'all met'
  return met === 0 && claims.every(({ figures }) => figures.length === 0) ? 'nothing proven'
    : 'some cannot be told'
}

function claimsSay(told: Told, { met, notMet, cannotBeTold, notMeasured }: Counts): string[] {
  const { claims, provenBy } = told
  const all = claims.length
  if (all === 0) return ['Nothing is claimed of this unit on record, so nothing could be held against it.']
  if (provenBy === null) {
    return [`${formatCount(all, 'claim')}, and none of them was held against a measurement.`]
  }
  const of = (count: number): string => count === all ? 'every one' : `${count}`
  return [
    `Of ${formatCount(all, 'claim')} ${[
      ...met > 0 ? [`${of(met)} ${isOrAre(met, all)} met`] : [],
      ...notMet > 0 ? [`${of(notMet)} ${isOrAre(notMet, all)} not met`] : [],
      ...cannotBeTold > 0 ? [`${of(cannotBeTold)} cannot be told${unanswered(claims)}`] : [],
      ...notMeasured > 0 ? [`${of(notMeasured)} ${notMeasured === 1 ? 'was' : 'were'} not measured`] : [],
    ].join(', ')}.`,
    ...claims.filter(({ end }) => end === 'not met')
      .map(({ words, reason }) => `Not met: ${words}. ${reason}`),
  ]
}

/** Of those that cannot be told, how many have nothing to be told by. */
function unanswered(claims: Told['claims']): string {
  const count = claims.filter(({ end, figures }) => end === 'cannot be told' && figures.length === 0).length
  return count === 0 ? '' : ` (for ${count} of them nothing that answers it was measured)`
}

const isOrAre = (count: number, all: number): string => count === 1 || count === all ? 'is' : 'are'

/** What was shown, and what was not. */
function limitsOf(told: Told): string[] {
  const { provenBy, burnIn, firstPower, runs, parts, left } = told
  const verify = runs.find(({ id }) => id === provenBy)
  return [
    ...verify ? [
      `The figures are of this one unit as it stood on ${formatWall(verify.startedWallMs)}, each under the `
        + 'conditions beside it. Nothing is said of others of its type, or of how long they will hold.',
      'A claim is met, or not met, only where at least 95 % is shown for that; nearer than that, it cannot '
        + 'be told.',
    ] : [],
    burnInSays(burnIn, newestOf(told, 'burn-in')),
    ...firstPowerSays(firstPower, runs),
    ...!parts ? ['No parts list was given: of what it is made, and what of that was proven, is not shown.']
      : parts.complete ? [] : [`Not all of its parts are proven: ${parts.summary}`],
    ...left.length > 0
      ? [`${formatCount(left.length, 'thing')} could not be measured, as listed below.`] : [],
  ]
}

function firstPowerSays(firstPower: UnitRecord['firstPower'], runs: readonly UnitRecordRun[]): string[] {
  if (firstPower === null) return ['No first power of it is on record.']
  const run = runs.find(({ id }) => id === firstPower.run)
  return firstPower.grade !== null || !run ? []
    : [`Its first power ${run.id} ${stateWords[run.state]} and came to no result.`]
}

/** As people count a burn-in: `72 h`. */
export const hoursWords = (seconds: number | null): string =>
  seconds === null ? noNumber : `${Number((seconds / 3600).toPrecision(3))} h`

function burnInSays(burnIn: UnitRecord['burnIn'], newest: UnitRecordRun | null): string {
  if (burnIn) {
    return `${hoursWords(burnIn.countedS)} of burn-in counted, of ${hoursWords(burnIn.askedS)} asked for. `
      + burnIn.says
  }
  return newest === null ? 'It was not burned in: nothing shows how it holds over hours.'
    : `Its burn-in ${newest.id} ${stateWords[newest.state]} and left no findings.`
}
