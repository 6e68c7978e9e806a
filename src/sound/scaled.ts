/** Adds what the scale leaves open to every level of an answer; ratios do not have it. */
import type { Product } from '../analysis/audio/intermodulation.ts'
import type { Noise } from '../analysis/audio/noise.ts'
import type { Estimate } from '../analysis/audio/sine-fit.ts'
import type { Tone } from '../analysis/audio/tone.ts'
import type { Found } from './analyse.ts'

/** `share`: standard uncertainty of the scale. */
export function scaled(found: Found, share: number): Found {
  if (share === 0) return found
  const wide = ({ value, u }: Estimate): Estimate => ({ value, u: Math.hypot(u, share * value) })
  const all = (products: readonly Product[]): Product[] =>
    products.map(product => ({ ...product, rms: wide(product.rms) }))
  switch (found.as) {
    case 'tone': return { as: 'tone', tone: toneWith(found.tone, wide) }
    case 'sweep': return found
    case 'noise': return { as: 'noise', noise: noiseWith(found.noise, wide) }
    case 'smpte': {
      const { lowRms, highRms, products, ...rest } = found.modulation
      return {
        as: 'smpte',
        modulation: { ...rest, lowRms: wide(lowRms), highRms: wide(highRms), products: all(products) },
      }
    }
    case 'difference': {
      const { lowRms, highRms, products, ...rest } = found.difference
      return {
        as: 'difference',
        difference: { ...rest, lowRms: wide(lowRms), highRms: wide(highRms), products: all(products) },
      }
    }
    case 'transient': {
      const { sineRms, products, ...rest } = found.transient
      return { as: 'transient', transient: { ...rest, sineRms: wide(sineRms), products: all(products) } }
    }
  }
}

type Widen = (estimate: Estimate) => Estimate

const toneWith = (tone: Tone, wide: Widen): Tone => ({
  ...tone, rms: wide(tone.rms), dc: wide(tone.dc),
  harmonics: tone.harmonics.map(harmonic => ({ ...harmonic, rms: wide(harmonic.rms) })),
})

function noiseWith(noise: Noise, wide: Widen): Noise {
  const { flat, A, C, itu468 } = noise.rms
  const { hum } = noise
  return {
    ...noise, rms: { flat: wide(flat), A: wide(A), C: wide(C), itu468: wide(itu468) },
    hum: hum && {
      ...hum, rms: wide(hum.rms), lines: hum.lines.map(line => ({ ...line, rms: wide(line.rms) })),
    },
  }
}
