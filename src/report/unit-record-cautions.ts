/** What a reader of the record of a unit should mind. Pure. */
import { calibrationState } from '../schema/calibration.ts'
import { newestOf, stateWords, type Told } from './unit-record-verdict.ts'

/** In order of weight. */
export function cautionsOf(told: Told): string[] {
  const { runs, unit } = told
  return [
    ...runs.flatMap(({ id, chain }) => chain?.holds === false
      ? [`The record of run ${id} was changed after it was written: its chain breaks at ${chain.firstBreak}. `
        + 'Nothing that this run says can be relied on.'] : []),
    ...gradeCautions(told), ...orderCautions(told), ...calibrationCautions(told),
    ...new Set(runs.map(({ unitProfileHash }) => unitProfileHash)).size > 1
      ? ['Its runs were made with profiles that differ: limits and claims are those of each run.'] : [],
    ...unit?.supply.kind === 'mains'
      ? ['Inside, mains and its rectified rails kill. Whatever stands here: plug out, wait, and prove every '
        + 'rail dead with a meter that was just proved, before reaching in.'] : [],
  ]
}

function gradeCautions({ runs, burnIn, firstPower, provenBy }: Told): string[] {
  const shown = [burnIn?.run, firstPower?.run, provenBy]
  return runs.flatMap(({ id, sequence, state, grade, reason, why }) => [
    ...shown.includes(id) && grade !== null && grade !== 'accept'
      ? [`Run ${id} (${sequence}) graded it ${grade}: ${reason}.`] : [],
    ...state === 'refused' ? [`Run ${id} (${sequence}) was refused before mains came on${
      why === '' ? '' : `: ${why}`}; it shows nothing.`] : [],
  ])
}

/** What came after what was measured, and may have changed it. */
function orderCautions(told: Told): string[] {
  const { runs, provenBy, burnIn } = told
  const at = (id: string | null | undefined): number => runs.findIndex(run => run.id === id)
  const verify = newestOf(told, 'verify')
  const laterBurnIn = burnIn !== null && provenBy !== null && at(burnIn.run) > at(provenBy)
  const firstAt = runs.findLastIndex(({ sequence, touch }) => sequence === 'first-power' && touch !== null)
  const before = [
    ...provenBy !== null && at(provenBy) < firstAt ? ['its figures were measured'] : [],
    ...burnIn !== null && at(burnIn.run) < firstAt ? ['it was burned in'] : [],
  ]
  return [
    ...provenBy !== null && verify && verify.id !== provenBy
      ? [`The figures are those of the earlier run ${provenBy}: ${verify.id} ${stateWords[verify.state]} and `
        + 'left none.'] : [],
    ...before.length > 0
      ? [`It had a first power after ${before.join(' and ')}: what was changed in it between is not in them.`]
      : [],
    ...laterBurnIn ? ['It was burned in after its figures were measured: they are of before that.'] : [],
  ]
}

function calibrationCautions({ instruments, runs }: Told): string[] {
  const measuring = instruments.filter(({ calibrated }) => calibrated !== undefined)
  const startOf = (id: string): number => runs.find(run => run.id === id)?.startedWallMs ?? 0
  const isPast = ({ calibrated, runs: used }: (typeof instruments)[number]): boolean =>
    calibrated !== null && used.some(id => calibrationState(calibrated ?? null, startOf(id)) === 'past due')
  const names = (list: typeof instruments): string[] => [...new Set(list.map(({ name }) => name))]
  const past = names(measuring.filter(isPast))
  const unknown = names(measuring.filter(({ calibrated }) => calibrated === null))
  return [
    ...past.length > 0 ? [`Past the day on which its calibration was due: ${past.join(', ')}.`] : [],
    ...unknown.length > 0 ? [`When it was calibrated, nobody entered: ${unknown.join(', ')}.`] : [],
  ]
}
