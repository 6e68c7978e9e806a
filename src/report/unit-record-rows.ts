/** Rows of the record of a unit from what its runs, its parts list and their instruments hold. Pure. */
import { z } from 'zod'
import { calibrationWords } from '../schema/calibration.ts'
import type { BurnInFindings } from '../schema/unit-findings.ts'
import type { UnitProfile } from '../schema/unit-profile.ts'
import { instrumentsOf } from './setup.ts'
import { byWords, measuredWords, standsWords, unitSummary, whyWords, type UnitPage } from './unit-page.ts'
import { numberOr } from './unit-record-runs.ts'
import type { UnitRecord } from './unit-record-schema.ts'
import { comparedRow } from './unit-record-stages.ts'
import type { UnitRun } from './unit-record.ts'

export function unitOf({ hash, profile }: { hash: string; profile: UnitProfile }): UnitRecord['unit'] {
  const { unit: name, description, supply, channels } = profile
  const ofMains = supply.kind === 'mains' ? supply : null
  return {
    name, description, profileHash: hash,
    supply: {
      kind: supply.kind, voltageV: supply.voltageV, currentMaxA: supply.currentMaxA,
      frequencyHz: ofMains?.frequencyHz ?? null, protection: ofMains?.protection ?? null,
      fuse: ofMains?.fuse ?? null,
    },
    channels: channels.map(({ name: channel, output: { kind, isValve, loadOhm, ratedW } }) =>
      ({ name: channel, output: kind, isValve, loadOhm, ratedW })),
  }
}

export function burnInOf({ run, result }: UnitRun): UnitRecord['burnIn'] {
  const { countedS, askedS, wallS, switchings, lost, drifts, warmth, says } = result!.unit!.burnIn!
  return {
    run: run.id, countedS: numberOr(countedS), askedS: numberOr(askedS), wallS: numberOr(wallS), switchings,
    lost: lost.map(({ why, seconds }) => ({ why, seconds: numberOr(seconds) })),
    drifts: drifts.map(driftRow), warmth: warmth.map(warmthRow), says,
    compared: result!.criteria.map(comparedRow),
  }
}

const driftRow = ({ of, unit, start, end, change, u, hours }: BurnInFindings['drifts'][number]) => ({
  of, unit, start: { value: numberOr(start.value), u: numberOr(start.u) },
  end: { value: numberOr(end.value), u: numberOr(end.u) },
  change: numberOr(change), u: numberOr(u), hours: numberOr(hours),
})

const warmthRow = ({
  place, isSteady, steadyAtS, celsius, u, remainingK, remainingU = null, rule,
}: BurnInFindings['warmth'][number]) => ({
  place, isSteady, steadyAtS: steadyAtS === null ? null : numberOr(steadyAtS), celsius: numberOr(celsius),
  u: numberOr(u), remainingK: remainingK === null ? null : numberOr(remainingK),
  remainingU: remainingU === null ? null : numberOr(remainingU), rule,
})

export function partsOf(page: UnitPage): UnitRecord['parts'] {
  const { policy, complete, remarks, rows } = page
  return {
    summary: unitSummary(page), policy, complete, remarks: [...remarks],
    rows: rows.map(row => ({
      designator: row.designator, what: row.what, ratedV: row.ratedV, standing: standsWords(row),
      by: byWords(row.newest), measured: row.newest ? measuredWords(row.newest.result) : '',
      why: whyWords(row), run: row.newest?.run ?? null,
    })),
  }
}

/** One row for each that was told apart by what it said of itself, or by its calibration. */
export function instrumentRows(runs: readonly UnitRun[]): UnitRecord['instruments'] {
  const rows = new Map<string, UnitRecord['instruments'][number]>()
  for (const { run } of runs) {
    for (const { name, role, identity, profile, profileHash, calibrated } of instrumentsOf(run)) {
      const dates = calibrated === undefined ? {} : { calibrated }
      const key = JSON.stringify([name, role, identity, profileHash, dates])
      const calibration = calibrated === undefined ? '' : calibrationWords(calibrated, run.startedWallMs)
      const used = [...rows.get(key)?.runs ?? [], run.id]
      rows.set(key, { name, role, identity, profile, profileHash, ...dates, calibration, runs: used })
    }
  }
  return [...rows.values()]
}

const planned = z.looseObject({ left: z.array(z.string()) })

/** What the plan said could not be measured, and what then could not; each once. */
export function leftOf(runs: readonly UnitRun[]): UnitRecord['left'] {
  const seen = new Set<string>()
  return [...runs].reverse().flatMap(({ run, result }) =>
    [...result?.unit?.left ?? [], ...planned.safeParse(run.setup['plan']).data?.left ?? []].flatMap(says => {
      if (seen.has(says)) return []
      seen.add(says)
      return [{ run: run.id, says }]
    }))
}
