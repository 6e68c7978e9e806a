/** How long the figures of a recorded tone take, beside the transform alone of a numerical library. */
import { spawnSync } from 'node:child_process'
import { fitSine } from '../src/analysis/audio/sine-fit.ts'
import { analyseTone } from '../src/analysis/audio/tone.ts'
import { SeededRandom } from '../src/base/random.ts'

const sampleHz = 48_000

/** A tone between two bins, with two harmonics and noise. */
function tone(count: number): Float64Array {
  const random = new SeededRandom(11)
  const line = (hz: number, peak: number, i: number): number => peak * Math.sin(2 * Math.PI * hz * i / sampleHz)
  return Float64Array.from({ length: count }, (_, i) =>
    line(997.3, 1, i) + line(1994.6, 1e-3, i) + line(2991.9, 5e-4, i) + 1e-5 * random.normal())
}

/** Least of several, ms. */
function quickest(times: number, work: () => void): number {
  let least = Infinity
  for (let i = 0; i < times; i++) {
    const started = process.hrtime.bigint()
    work()
    least = Math.min(least, Number(process.hrtime.bigint() - started) / 1e6)
  }
  return least
}

const script = (count: number): string => `
import time, numpy
y = numpy.random.default_rng(1).standard_normal(${count})
least = 1e9
for _ in range(7):
    t = time.perf_counter(); numpy.fft.rfft(y); least = min(least, time.perf_counter() - t)
print(least * 1e3)`

export interface SoundTimes {
  /** Level, frequency, harmonics, THD, THD+N with their uncertainties, from samples, ms. */
  readonly chainMs: readonly number[]
  /** numpy's real transform alone of as many samples, ms; null without python3 and numpy. */
  readonly numpyMs: readonly (number | null)[]
  /** Four parameters, found from nothing. */
  readonly fitMs: number
}

/** Each of a round back to back. */
export function measureSound({ rounds = 5, samples = 2 ** 20, fitted = 2 ** 16 } = {}): SoundTimes {
  const record = tone(samples)
  const each = Array.from({ length: rounds }, () => ({
    chain: quickest(5, () => analyseTone(record, sampleHz)), numpy: numpyMs(samples),
  }))
  const short = record.slice(0, fitted)
  return {
    chainMs: each.map(({ chain }) => chain), numpyMs: each.map(({ numpy }) => numpy),
    fitMs: quickest(9, () => fitSine(short, sampleHz)),
  }
}

function numpyMs(samples: number): number | null {
  const { status, stdout } = spawnSync('python3', ['-c', script(samples)], { encoding: 'utf8' })
  return status === 0 ? Number(stdout) : null
}
