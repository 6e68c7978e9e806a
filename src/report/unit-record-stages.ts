/** The log of a first power: stage by stage, by which ways mains came, what was read against what. Pure. */
import type { Criterion, RunEvent } from '../schema/run.ts'
import type { UnitProfile } from '../schema/unit-profile.ts'
import type { UnitRun } from './unit-record.ts'
import { numberOr, profileOf } from './unit-record-runs.ts'
import type { Compared, UnitRecord } from './unit-record-schema.ts'

type FirstPower = NonNullable<UnitRecord['firstPower']>
type Stage = FirstPower['stages'][number]

export function firstPowerOf(given: UnitRun): FirstPower {
  const { run, events, result } = given
  return {
    run: run.id, unpowered: events.find(({ kind }) => kind === 'unpowered')?.text ?? null,
    stages: stagesOf(events, profileOf(run)?.profile ?? null),
    grade: result?.grade ?? null, reason: result?.reason ?? '',
    compared: result ? result.criteria.map(comparedRow) : [],
  }
}

export const comparedRow = (
  { name, where, value, unit, expandedU, limitLow, limitHigh, pConform, grade, source }: Criterion,
): Compared => ({
  name, where: where ?? null, value: numberOr(value), unit, expandedU: numberOr(expandedU),
  limitLow: numberOr(limitLow), limitHigh: numberOr(limitHigh), pConform: numberOr(pConform), grade, source,
})

const stagePoint = 'stage.'

/** A stage begins where a person is asked for it, and has what follows until the next one. */
function stagesOf(events: readonly RunEvent[], profile: UnitProfile | null): Stage[] {
  const stages: Stage[] = []
  for (const event of events) {
    const id = event.data?.['id']
    if (event.kind === 'hold' && typeof id === 'string' && id.startsWith(stagePoint)) {
      stages.push({
        name: id.slice(stagePoint.length), startedWallMs: event.wallMs, ways: [], read: [], says: '',
      })
    }
    const stage = stages.at(-1)
    if (stage) take(stage, event, profile)
  }
  return stages
}

function take(stage: Stage, { kind, wallMs, text, data }: RunEvent, profile: UnitProfile | null): void {
  if (kind === 'energise') stage.ways.push({ wallMs, says: text })
  if (kind === 'stage') stage.says = text
  if (kind !== 'stage-read') return
  stage.says ||= text
  stage.read = Object.entries(data ?? {}).flatMap(([of, value]) =>
    typeof value === 'number' || value === null ? [readRow(of, value, profile)] : [])
}

const unitsOf: Partial<Record<Criterion['name'], string>> = {
  'rail voltage': 'V', 'rail symmetry': 'V', 'idle current': 'A', 'dc at the output': 'V', temperature: '°C',
  'mains power': 'W', 'mains current': 'A',
}

function readRow(of: string, value: number | null, profile: UnitProfile | null): Stage['read'][number] {
  const [name, unit] = Object.entries(unitsOf).find(([known]) => of.startsWith(known)) ?? ['', '']
  const where = of.slice(name.length).trim()
  const limits = profile ? limitsFor(name, where, profile) : null
  return {
    of, value: value === null ? null : numberOr(value), unit,
    ...limits ?? { limitLow: null, limitHigh: null, source: '' },
  }
}

type Limits = Pick<Stage['read'][number], 'limitLow' | 'limitHigh' | 'source'>

/** What the profile of the run holds it against, and whose limit that is; null where it has none. */
function limitsFor(name: string, where: string, profile: UnitProfile): Limits | null {
  const { rails, idle, channels, temperatures, supply } = profile
  if (name === 'rail voltage') return railLimits(rails.find(one => one.name === where))
  if (name === 'rail symmetry') return mirrorLimits(rails.find(one => one.name === where.split(' and ')[0]))
  if (name === 'mains power' && supply.kind === 'mains') {
    return { limitLow: null, limitHigh: supply.powerIdleMaxW, source: 'unit profile' }
  }
  const current = idle.find(one => one.name === where)
  const warm = temperatures.find(one => one.place === where)
  if (name === 'idle current' && current) {
    return { limitLow: null, limitHigh: current.maxA, source: current.source }
  }
  if (name === 'temperature' && warm) return { limitLow: null, limitHigh: warm.maxC, source: warm.source }
  const output = channels.find(one => one.name === where)?.output
  if (name !== 'dc at the output' || !output) return null
  return { limitLow: -output.dcMaxV, limitHigh: output.dcMaxV, source: output.dcSource }
}

type Rail = UnitProfile['rails'][number]

function railLimits(rail: Rail | undefined): Limits | null {
  if (!rail) return null
  const { nominalV, tolerance, source } = rail
  const [one, other] = [nominalV * (1 - tolerance), nominalV * (1 + tolerance)]
  return { limitLow: Math.min(one, other), limitHigh: Math.max(one, other), source }
}

function mirrorLimits(rail: Rail | undefined): Limits | null {
  if (!rail) return null
  const mostV = rail.asymmetryMax * Math.abs(rail.nominalV)
  return { limitLow: -mostV, limitHigh: mostV, source: rail.source }
}
