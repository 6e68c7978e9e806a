/** Which instruments of a bench measure, and whether their calibration is in date. */
import {
  calibrationState, type Calibrated, type CalibrationState, type CalibrationTold,
} from '../schema/calibration.ts'
import type { InstrumentProfile } from '../schema/instrument-profile.ts'
import type { LoadedBench } from './files.ts'

/** What the readings of these say counts; relays, interlocks and beacons say nothing in units. */
const measuring: readonly InstrumentProfile['class'][] =
  ['dc-supply', 'multimeter', 'lcr-bridge', 'source-measure', 'thermometer', 'power-meter', 'digitizer']

/** Null where nobody entered it; undefined of one that does not measure. */
export function calibratedOf({ file, profiles }: LoadedBench, name: string): Calibrated | null | undefined {
  const { class: its } = profiles.get(name)!.profile
  return measuring.includes(its) ? file.instruments[name]!.calibrated ?? null : undefined
}

/** Null of an instrument that does not measure. */
export function calibrationStateOf(
  bench: LoadedBench, name: string, wallMs: number,
): CalibrationState | null {
  const given = calibratedOf(bench, name)
  return given === undefined ? null : calibrationState(given, wallMs)
}

/** Past due is a warning and never a refusal: a person knows what the reading is for. */
export function calibrationTold(bench: LoadedBench, wallMs: number): CalibrationTold {
  const names = Object.keys(bench.file.instruments)
  const those = (state: CalibrationState): string[] =>
    names.filter(name => calibrationStateOf(bench, name, wallMs) === state)
  return {
    pastDue: those('past due').map(name =>
      `${name}: its calibration was due on ${bench.file.instruments[name]!.calibrated!.due}`),
    unknown: those('unknown'),
  }
}
