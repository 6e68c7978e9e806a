/** Thermocouple voltages and temperatures on ITS-90. Types B E J K N R S T; °C and mV. */
import { assert } from '../../base/assert.ts'
import { thermocoupleFunctions, typeKBump, type ThermocoupleType } from './thermocouple-data.ts'

/** Temperatures a type is defined for, °C. */
export function thermocoupleRange(type: ThermocoupleType): { leastC: number; mostC: number } {
  const { direct } = thermocoupleFunctions[type]
  return { leastC: direct[0]!.fromC, mostC: direct.at(-1)!.toC }
}

/**
 * Voltage at a junction of `tempC` against one of 0 °C, in mV. Asserts a temperature the type is defined for.
 */
export function thermocoupleMv(type: ThermocoupleType, tempC: number): number {
  const piece = thermocoupleFunctions[type].direct.find(p => tempC >= p.fromC && tempC <= p.toC)
  assert(piece, `type ${type} is not defined at ${tempC} °C`)
  const mv = polynomial(piece.c, tempC)
  return type === 'K' && tempC > 0 ? mv + bump(tempC) : mv
}

const bump = (tempC: number): number => typeKBump.a0 * Math.exp(typeKBump.a1 * (tempC - typeKBump.a2) ** 2)

const polynomial = (c: readonly number[], x: number): number => c.reduceRight((total, k) => total * x + k, 0)

/**
 * Temperature by the published inverse polynomial alone, within its stated error; where two overlap by the
 * upper, which is the closer. undefined outside their range.
 */
export function inversePolynomialC(type: ThermocoupleType, mv: number): number | undefined {
  const piece = thermocoupleFunctions[type].inverse.findLast(({ fromMv, toMv }, i) =>
    (i === 0 ? mv >= fromMv : mv > fromMv) && mv <= toMv)
  return piece && polynomial(piece.d, mv)
}

/**
 * Temperature of the measuring junction, °C, from the voltage against a reference junction at `junctionC`:
 * the junction's own voltage is added (voltages add, temperatures do not), then the reference function is
 * inverted by halving, exact to rounding. undefined where the sum is outside the range. Type B is not
 * monotonic below 42 °C: it is inverted from 42 °C up.
 */
export function thermocoupleC(type: ThermocoupleType, mv: number, junctionC = 0): number | undefined {
  const total = mv + thermocoupleMv(type, junctionC)
  const { leastC, mostC } = thermocoupleRange(type)
  let [low, high] = [type === 'B' ? 42 : leastC, mostC]
  if (!(total >= thermocoupleMv(type, low) && total <= thermocoupleMv(type, high))) return undefined
  for (let pass = 0; pass < 60; pass++) {
    const middle = (low + high) / 2
    if (thermocoupleMv(type, middle) > total) high = middle
    else low = middle
  }
  return (low + high) / 2
}
