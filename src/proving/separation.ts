/** What of one channel is heard in another whose input is terminated and muted. */
import { lineWithNoise } from '../analysis/audio/noise-around.ts'
import { audioBand, spectrumIn, transformed } from '../analysis/audio/spectrum.ts'
import type { Figure } from '../schema/figure.ts'
import { figureOf, perShareDb } from './budget.ts'
import { upS, whileDriven, withinCeilings } from './drive.ts'
import { ownLeak } from './floor.ts'
import { levelOf, peakOf, powersIn, rmsOf } from './hear-tone.ts'
import { learnGain } from './level.ts'
import { hear, placedHz, recordFor, recordS } from './listen.ts'
import type { Known, LoadState } from './port.ts'
import { loadOhmOf, type Proving } from './proving.ts'
import { meanOf } from './repeats.ts'
import { windowFor } from './tone-powers.ts'

export interface LeakAsked {
  readonly driven: string
  readonly heard: string
  readonly hz: number
  readonly levelV: number
}

export interface Leak {
  readonly foundHz: number
  /** As a share of the volts of the driven channel; without the noise under it. */
  readonly share: Known
  /** What the noise alone reads. */
  readonly noiseShare: number
  /** Of the two channels together. */
  readonly scaleU: number
  readonly drivenV: number
  readonly how: string
  readonly load: LoadState | null
}

const leakCaptures = 6
const orders = 2

export async function leakIn(
  proving: Proving, { driven: name, heard: into, hz: askedHz, levelV }: LeakAsked,
): Promise<Leak> {
  const size = recordFor(proving, { lowHz: askedHz, topHz: audioBand.toHz })
  const hz = placedHz(proving, askedHz, size)
  const tones = { [name]: [{ frequencyHz: hz, levelV }] }
  const forS = upS(proving, tones[name]!) + (leakCaptures + 2) * recordS(size)
  return whileDriven(proving, { tones, forS }, async driven => {
    const gain = proving.patched === 'unit' ? proving.gains.get(name) ?? 0 : 1
    const loud = await hear(proving, [name], Math.SQRT2 * levelV * gain, size)
    withinCeilings(proving, name, rmsOf(loud.volts[0]!), driven.loads[name]?.ohm?.value ?? null)
    const tone = powersIn(loud, { hz, orders, band: audioBand }, name)
    const { window } = windowFor(transformed(loud.volts[0]!, loud.sampleHz), [hz])
    const lines: Known[] = []
    let [noise, peakV, gainU] = [0, 0, 0]
    for (let i = 0; i < leakCaptures; i++) {
      const quiet = await hear(proving, [into], peakV, size)
      peakV = peakOf(quiet.volts[0]!)
      gainU = quiet.gainU
      const line = lineWithNoise(spectrumIn(transformed(quiet.volts[0]!, quiet.sampleHz), window), tone.hz)
      lines.push({ value: line.power - line.floor, u: line.u })
      noise += line.floor / leakCaptures
      proving.port.tell({ what: 'separation', channel: into, done: i + 1, of: leakCaptures })
    }
    const line = meanOf(lines)
    const whole = levelOf(tone).value
    const value = Math.sqrt(Math.max(0, line.value)) / whole
    return {
      foundHz: tone.hz, how: tone.how, load: driven.loads[name] ?? null, drivenV: whole,
      scaleU: Math.hypot(loud.gainU, gainU), noiseShare: Math.sqrt(noise / leakCaptures) / whole,
      share: { value, u: Math.min(line.u / (2 * value * whole ** 2), Math.sqrt(line.u) / whole) },
    }
  })
}

export interface SeparationAsked {
  /** Driven; the worst of all others is told. */
  readonly channel: string
  readonly hz: number
  readonly outputW: number
}

export async function separationFigure(
  proving: Proving, { channel, hz, outputW }: SeparationAsked,
): Promise<Figure> {
  const outputV = Math.sqrt(outputW * loadOhmOf(proving, channel))
  const levelV = outputV / await learnGain(proving, channel)
  let worst: Figure | null = null
  for (const { name } of proving.port.channels) {
    if (name === channel) continue
    const leak = await leakIn(proving, { driven: channel, heard: name, hz, levelV })
    const figure = figureFor(proving, { channel, into: name, leak })
    if (worst === null || figure.value < worst.value) worst = figure
  }
  return worst!
}

function figureFor(
  proving: Proving, { channel, into, leak }: { channel: string; into: string; leak: Leak },
): Figure {
  const own = ownLeak(proving.floor, channel, into, leak.foundHz) ?? { value: 0, u: 0 }
  const { share, noiseShare, scaleU, load, drivenV } = leak
  const isFloor = share.value ** 2 <= noiseShare ** 2 + 2 * own.value ** 2
  const alone = isFloor ? Math.hypot(share.value, noiseShare) + own.value
    : Math.sqrt(share.value ** 2 - own.value ** 2)
  const leakU = isFloor ? own.u : Math.hypot(own.u, own.value / Math.SQRT2)
  const ofShare = perShareDb / alone
  const ohm = load?.ohm?.value
  return figureOf({
    quantity: 'separation', channel, value: -20 * Math.log10(alone),
    ...isFloor && { bound: 'at least' as const },
    parts: [
      { label: 'noise', u: share.u, sensitivity: ofShare * (isFloor ? 1 : share.value / alone) },
      { label: 'scale', u: scaleU, sensitivity: perShareDb },
      { label: 'what leaks in the bench', u: leakU, sensitivity: ofShare },
    ],
    conditions: {
      frequencyHz: leak.foundHz, driven: 'one', sourceOhm: proving.port.generator.sourceOhm,
      ...ohm === undefined ? {} : { loadOhm: ohm, outputW: drivenV ** 2 / ohm },
    },
    notes: [
      `${into} is heard, its generator muted and its source resistance in place`, leak.how,
      ...isFloor ? ['no more than noise and what leaks in the bench itself'] : [],
    ],
  })
}
