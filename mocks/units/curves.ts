/** Curves without memory: what a stage makes of an instant. */

/** A limit with an exponent p: x/(1 + |x/top|^p)^(1/p); with p = Infinity it cuts at `top`. */
export function limited(x: number, top: number, hardness: number): number {
  const size = Math.abs(x)
  if (hardness === Infinity) return size <= top ? x : Math.sign(x) * top
  if (top <= 0) return 0
  const ratio = size / top
  if (ratio <= 1) {
    const power = ratio ** hardness
    return power < 1e-17 ? x : x * (1 + power) ** (-1 / hardness)
  }
  return Math.sign(x) * top * (1 + ratio ** -hardness) ** (-1 / hardness)
}

/** The share of its top below which a limit changes a value by less than one part in 1e11. */
export const untouchedShare = (hardness: number): number =>
  hardness === Infinity ? 1 : (1e-11 * hardness) ** (1 / hardness)

/** x + square·x² + cube·x³ as long as that is near a straight line; beyond, straight on along the tangent. */
export function bent(square: number, cube: number): (x: number) => number {
  if (square === 0 && cube === 0) return x => x
  const end = straightUntil(Math.abs(square), Math.abs(cube))
  const value = (x: number): number => x * (1 + x * (square + x * cube))
  const slope = (x: number): number => 1 + x * (2 * square + x * 3 * cube)
  const [topV, topS, bottomV, bottomS] = [value(end), slope(end), value(-end), slope(-end)]
  return x => x > end ? topV + topS * (x - end) : x < -end ? bottomV + bottomS * (x + end) : value(x)
}

/** Where the slope has changed by a half at most: 2·a·x + 3·b·x² = ½. */
function straightUntil(a: number, b: number): number {
  if (b === 0) return 1 / (4 * a)
  return (-a + Math.sqrt(a * a + 1.5 * b)) / (3 * b)
}

/** The current of each of two devices in class AB that share `amps` with the product of idle² of both. */
export const upperOf = (amps: number, idleA: number): number =>
  (amps + Math.sqrt(amps * amps + 4 * idleA * idleA)) / 2
