/** A root between two ends of unlike sign: false position that halves the stuck end. */
export function root(of: (x: number) => number, low: number, high: number): number {
  let [a, b, fa, fb] = [low, high, of(low), of(high)]
  if (fa === 0 || Math.sign(fa) === Math.sign(fb)) return Math.abs(fa) < Math.abs(fb) ? a : b
  for (let turn = 0; turn < 100 && fb !== 0 && Math.abs(b - a) > 1e-12 * Math.abs(b); turn++) {
    const finite = Number.isFinite(fa) && Number.isFinite(fb)
    const next = finite ? b - fb * (b - a) / (fb - fa) : (a + b) / 2
    const x = next > Math.min(a, b) && next < Math.max(a, b) ? next : (a + b) / 2
    const fx = of(x)
    if (Math.sign(fx) !== Math.sign(fb)) { a = b; fa = fb } else fa /= 2
    b = x
    fb = fx
  }
  return b
}
