/** The models of the NIST StRD nonlinear sets, as written in the file headers. */
import type { Model } from '../../src/analysis/nonlinear-fit.ts'

const { exp, atan, cos, sin, PI } = Math
const chwirut: Model = b => x => exp(-b[0]! * x) / (b[1]! + b[2]! * x)
const bell = (z: number): number => exp(-z * z)
const gauss: Model = b => x =>
  b[0]! * exp(-b[1]! * x) + b[2]! * bell((x - b[3]!) / b[4]!) + b[5]! * bell((x - b[6]!) / b[7]!)
const lanczos: Model = b => x => b[0]! * exp(-b[1]! * x) + b[2]! * exp(-b[3]! * x) + b[4]! * exp(-b[5]! * x)
const saturation: Model = b => x => b[0]! * (1 - exp(-b[1]! * x))
const wave = (a: number, b: number, period: number, x: number): number =>
  a * cos(2 * PI * x / period) + b * sin(2 * PI * x / period)

export const models: Record<string, Model> = {
  BoxBOD: saturation,
  Chwirut1: chwirut,
  Chwirut2: chwirut,
  DanWood: b => x => b[0]! * x ** b[1]!,
  ENSO: b => x =>
    b[0]! + wave(b[1]!, b[2]!, 12, x) + wave(b[4]!, b[5]!, b[3]!, x) + wave(b[7]!, b[8]!, b[6]!, x),
  Gauss1: gauss,
  Gauss2: gauss,
  Gauss3: gauss,
  Lanczos1: lanczos,
  Lanczos2: lanczos,
  Lanczos3: lanczos,
  MGH09: b => x => b[0]! * (x ** 2 + x * b[1]!) / (x ** 2 + x * b[2]! + b[3]!),
  MGH10: b => x => b[0]! * exp(b[1]! / (x + b[2]!)),
  Misra1a: saturation,
  Misra1b: b => x => b[0]! * (1 - (1 + b[1]! * x / 2) ** -2),
  Misra1c: b => x => b[0]! * (1 - (1 + 2 * b[1]! * x) ** -0.5),
  Misra1d: b => x => b[0]! * b[1]! * x / (1 + b[1]! * x),
  Rat42: b => x => b[0]! / (1 + exp(b[1]! - b[2]! * x)),
  Rat43: b => x => b[0]! / (1 + exp(b[1]! - b[2]! * x)) ** (1 / b[3]!),
  Roszman1: b => x => b[0]! - b[1]! * x - atan(b[2]! / (x - b[3]!)) / PI,
}

/** Nelson has two predictors; its x is the row number. */
export const nelson = (rows: readonly number[][]): Model => b => i =>
  b[0]! - b[1]! * rows[i]![1]! * exp(-b[2]! * rows[i]![2]!)
