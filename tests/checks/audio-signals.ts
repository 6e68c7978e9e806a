/** The signals of `data/audio-signal-cases.json`, made as its `generator` says; nothing here is of the program. */
import { readFileSync } from 'node:fs'

interface Component { bin?: number; freq_hz?: number; amp_peak: number; phase_rad: number }
export interface SignalCase {
  id: string
  title: string
  params: {
    fs_hz: number; n: number; fund_bin?: number; max_harmonic?: number; band_hz?: [number, number]
    components: Component[]; dc?: number; initial_guess_hz?: number
    nonlinear?: { op: 'clip' | 'poly' | 'deadzone'; level?: number; coeffs?: number[]; width?: number }[]
    noise?: { sigma: number; seed: number } | null
    quant?: { bits: number; full_scale_peak: number }
    smpte?: { bins: [number, number]; orders: number }
    dfd?: { bins: [number, number] }
    dim?: { sine_bin: number; product_bins: number[] }
  }
  expected_sampled: Record<string, number>
  expected_analytic: Record<string, number>
  extra?: Record<string, number>
}

export const signalCases: SignalCase[] =
  JSON.parse(readFileSync(new URL('data/audio-signal-cases.json', import.meta.url), 'utf8')).cases

export function* uniform(seed: number): Generator<number, never> {
  let x = seed >>> 0
  for (let i = 0; ; i++) {
    x ^= x << 13; x >>>= 0
    x ^= x >>> 17
    x ^= x << 5; x >>>= 0
    if (i >= 64) yield x / 2 ** 32
  }
}

export function* gaussian(seed: number): Generator<number, never> {
  const u = uniform(seed)
  for (;;) {
    const r = Math.sqrt(-2 * Math.log(u.next().value))
    const angle = 2 * Math.PI * u.next().value
    yield r * Math.cos(angle)
    yield r * Math.sin(angle)
  }
}

export function signalOf({ params }: SignalCase): Float64Array {
  const { n, fs_hz, components, nonlinear = [], dc = 0, noise, quant } = params
  const samples = new Float64Array(n)
  for (let i = 0; i < n; i++) {
    let y = 0
    for (const { bin, freq_hz, amp_peak, phase_rad } of components) {
      const turns = bin !== undefined ? ((bin * i) % n) / n : freq_hz! * i / fs_hz
      y += amp_peak * Math.cos(2 * Math.PI * turns + phase_rad)
    }
    for (const { op, level, coeffs, width } of nonlinear) {
      if (op === 'clip') y = Math.max(-level!, Math.min(level!, y))
      else if (op === 'poly') y = coeffs!.reduce((sum, c, k) => sum + c * y ** k, 0)
      else y = Math.sign(y) * Math.max(Math.abs(y) - width!, 0)
    }
    samples[i] = y + dc
  }
  if (noise) {
    const z = gaussian(noise.seed)
    for (let i = 0; i < n; i++) samples[i]! += noise.sigma * z.next().value
  }
  if (quant) {
    const q = 2 * quant.full_scale_peak / 2 ** quant.bits
    const half = 2 ** (quant.bits - 1)
    for (let i = 0; i < n; i++) samples[i] = q * Math.max(-half, Math.min(half - 1, Math.floor(samples[i]! / q + 0.5)))
  }
  return samples
}
