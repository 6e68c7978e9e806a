/** From one claim about one channel to what must be measured for it, or why it cannot be on this bench. */
import { audioBand, type Band } from '../analysis/audio/spectrum.ts'
import { formatSi } from '../base/format.ts'
import type { Claim } from '../schema/claims.ts'
import type { Conditions, FigureQuantity } from '../schema/figure.ts'
import type { UnitChannel } from '../schema/unit-profile.ts'
import { noOtherLoad, otherLoad } from './damping.ts'
import { earthedWords, needsDifferential } from './drive.ts'
import type { Echo, Job, QuietAsked } from './jobs.ts'
import { recoveryDefaults } from './recovery.ts'
import { arithmetics, pairsOf, type PairForm } from './two-tone.ts'
import type { LoadState, Reach } from './port.ts'

export interface Bench {
  readonly reach: Reach
  /** As connected when it is planned, by channel. */
  readonly loads: Readonly<Record<string, LoadState>>
}

/** A sentence that says why not. */
export class Cannot { readonly why: string; constructor(why: string) { this.why = why } }

const referenceHz = 1000
/** So far below the rated watts a unit is far from its limits (common practice: 10 dB). */
const quietShare = 0.1
/** What a claim of output power without a limit of distortion is held to (common practice). */
const limitDefault = 0.01
const ordersDefault = 10
/** Within this two resistances of a source, or of loads, are one. */
const sourceShare = 0.1
const loadShare = 0.05
const mainsShare = 0.02

interface Of { readonly claim: Claim; readonly channel: UnitChannel; readonly bench: Bench }

export function jobsOf(of: Of): Job[] | Cannot {
  const why = commonFault(of)
  if (why !== null) return new Cannot(why)
  const jobs = makers[of.claim.quantity](of)
  if (jobs instanceof Cannot) return jobs
  const fault = jobs.map(job => jobFault(job, of)).find(one => one !== null)
  return fault === undefined ? jobs : new Cannot(fault)
}

/** What is wrong with the conditions, whatever the quantity is. */
function commonFault({ claim: { conditions }, channel: { output }, bench: { reach } }: Of): string | null {
  const { mainsV } = conditions
  if (needsDifferential(output.kind) && !reach.digitizer.isDifferential) {
    return `${earthedWords} ${output.kind} output`
  }
  if (mainsV !== undefined
    && (reach.mains === null || Math.abs(reach.mains.voltageV / mainsV - 1) > mainsShare)) {
    return `it is claimed at ${mainsV} V of mains, and the bench gives ${reach.mains?.voltageV ?? 'none'}`
  }
  const { sourceOhm, reference } = conditions
  const hereOhm = reach.generator.sourceOhm
  if (sourceOhm !== undefined && Math.abs(sourceOhm - hereOhm) > Math.max(sourceShare * hereOhm, 1)) {
    return `it is claimed with ${sourceOhm} Ω at the input, and the generator has ${hereOhm} Ω`
  }
  if (reference !== undefined && !(reference in referenceShares)) {
    return `what it is referred to, "${reference}", is not known here`
  }
  if (conditions.detector === 'average' || conditions.detector === 'quasi-peak') {
    return `it is claimed with a detector that is ${conditions.detector}, and this reads RMS`
  }
  return null
}

const loadOf = ({ claim, channel }: Of): number => claim.conditions.loadOhm ?? channel.output.loadOhm
const drivenOf = ({ claim }: Of): 'one' | 'all' => claim.conditions.driven ?? 'one'
const placeOf = (of: Of): { channel: string; loadOhm: number; echo?: Echo } => {
  const { reference } = of.claim.conditions
  const place = { channel: of.channel.name, loadOhm: loadOf(of) }
  return reference === undefined ? place : { ...place, echo: { reference } }
}
/** Words for a level that claims have, as shares of the rated watts. */
const referenceShares: Readonly<Record<string, number>> = { 'rated output': 1, 'half of rated output': 0.5 }

/** Watts that a claim names, as watts or volts; a share of the rated ones where it names none. */
function wattsOf(of: Of, share = 1): number {
  const { outputW, outputV, reference } = of.claim.conditions
  if (outputV !== undefined) return outputV ** 2 / loadOf(of)
  return outputW ?? (reference === undefined ? share : referenceShares[reference]!) * of.channel.output.ratedW
}

const bandOf = ({ bandLowHz, bandHighHz }: Conditions): Band =>
  ({ fromHz: bandLowHz ?? audioBand.fromHz, toHz: bandHighHz ?? audioBand.toHz })

/** One frequency where one is named; both ends of a band and 1 kHz where a band is. */
function frequenciesOf({ frequencyHz, bandLowHz, bandHighHz }: Conditions): number[] {
  if (frequencyHz !== undefined) return [frequencyHz]
  const ends = [bandLowHz, bandHighHz].filter(hz => hz !== undefined)
  const away = (hz: number): number => Math.abs(Math.log(hz / referenceHz))
  return [...new Set([...ends, referenceHz])].sort((a, b) => away(a) - away(b))
}

/** A band beside a frequency is that of THD+N; without one it is that of frequencies. */
const noiseBandOf = (conditions: Conditions): Band =>
  conditions.frequencyHz === undefined ? audioBand : bandOf(conditions)

const distortionJobs = (of: Of, kind: 'thd' | 'thd+n'): Job[] =>
  frequenciesOf(of.claim.conditions).map(hz => ({
    do: 'distortion', ...placeOf(of), of: kind, hz, orders: of.claim.conditions.orders ?? ordersDefault,
    band: noiseBandOf(of.claim.conditions), driven: drivenOf(of), outputW: wattsOf(of),
  }))

const powerJobs = (of: Of): Job[] => frequenciesOf(of.claim.conditions).map(hz => ({
  do: 'output power', ...placeOf(of), hz, of: of.claim.conditions.distortionOf ?? 'thd+n',
  limit: of.claim.conditions.distortion ?? limitDefault, orders: of.claim.conditions.orders ?? ordersDefault,
  band: noiseBandOf(of.claim.conditions), driven: drivenOf(of),
  aimW: of.claim.least ?? of.channel.output.ratedW,
}))

const bandwidthJob = (of: Of, towards: 'low' | 'high'): Job[] => [{
  do: 'power bandwidth', ...placeOf(of), towards, limit: of.claim.conditions.distortion ?? limitDefault,
  of: of.claim.conditions.distortionOf ?? 'thd', orders: of.claim.conditions.orders ?? ordersDefault,
  band: audioBand,
  outputW: wattsOf(of, 0.5), endHz: endHz(of.bench, towards, 0.5), driven: drivenOf(of),
}]

const cornerJob = (of: Of, towards: 'low' | 'high'): Job[] => [{
  do: 'corner', ...placeOf(of), towards, limitDb: -(of.claim.conditions.bandDb ?? 3),
  outputW: wattsOf(of, quietShare),
  endHz: endHz(of.bench, towards, 1),
}]

/** As far as generator and digitizer go; `share` of what the latter tells, for harmonics. */
function endHz({ reach: { generator, digitizer } }: Bench, towards: 'low' | 'high', share: number): number {
  return towards === 'low' ? Math.max(generator.frequencyMinHz, lowestHz)
    : Math.min(generator.frequencyMaxHz, share * toldShare * Math.max(...digitizer.sampleRatesHz))
}
const toldShare = 0.46
const lowestHz = 5

const quietJob = (of: Of, asked: QuietAsked): Job[] => [{ do: 'quiet', ...placeOf(of), asked: [asked] }]

const noiseAsked = ({ conditions }: Claim): { weighting: NonNullable<Conditions['weighting']>; band: Band } =>
  ({ weighting: conditions.weighting ?? 'flat', band: bandOf(conditions) })

const severalChannels = (of: Of, jobs: () => Job[]): Job[] | Cannot =>
  of.bench.reach.channels.length > 1 ? jobs() : new Cannot('the unit has one channel')

function intermodulationJobs(of: Of): Job[] | Cannot {
  const { conditions } = of.claim
  const form: PairForm = conditions.form ?? 'smpte'
  if (form === 'transient' && !of.bench.reach.setTransient) {
    return new Cannot('the generator makes no square wave with a sine')
  }
  if (form !== 'transient' && of.bench.reach.generator.tonesMost < 2) {
    return new Cannot('the generator makes one sine at a time')
  }
  const usual = pairsOf[form]
  const tones = { lowHz: conditions.toneLowHz ?? usual.lowHz, highHz: conditions.toneHighHz ?? usual.highHz }
  if (form === 'transient' && (tones.lowHz !== usual.lowHz || tones.highHz !== usual.highHz)) {
    return new Cannot('the transient form is of 3.15 kHz and 15 kHz')
  }
  const arithmetic = arithmeticOf(form, conditions.arithmetic)
  if (arithmetic === null) {
    const known = arithmetics[form].join('; ')
    return new Cannot(`how it is summed, "${conditions.arithmetic}", is none of: ${known}`)
  }
  const place = placeOf(of)
  const echo: Echo = {
    ...place.echo, ...conditions.arithmetic === undefined ? {} : { arithmetic: conditions.arithmetic },
  }
  return [{
    do: 'intermodulation', ...place, echo, form, tones, arithmetic, driven: drivenOf(of),
    outputW: wattsOf(of),
  }]
}

/** The first where a claim names none, or the one that its words fit; null where they fit none. */
function arithmeticOf(form: PairForm, words: string | undefined): string | null {
  const [usual, other] = arithmetics[form]
  if (words === undefined || words === usual) return usual!
  if (words === other || other && otherWords[form].test(words)) return other!
  return usualWords[form].test(words) ? usual! : null
}
const otherWords: Readonly<Record<PairForm, RegExp>> = {
  smpte: /\b(root sum|rss|all sidebands)\b/i, difference: /\bupper\b/i, transient: /(?!)/,
}
const usualWords: Readonly<Record<PairForm, RegExp>> = {
  smpte: /\bpairs?\b/i, difference: /\bboth\b/i, transient: /\b(nine|rss|root sum|squares)\b/i,
}

const makers: Readonly<Record<FigureQuantity, (of: Of) => Job[] | Cannot>> = {
  'output power': powerJobs,
  thd: of => distortionJobs(of, 'thd'),
  'thd+n': of => distortionJobs(of, 'thd+n'),
  intermodulation: intermodulationJobs,
  'response deviation': of => {
    const { fromHz, toHz } = bandOf(of.claim.conditions)
    return [{ do: 'response', ...placeOf(of), fromHz, toHz, outputW: wattsOf(of, quietShare) }]
  },
  'equalisation error': of => {
    const { fromHz, toHz } = bandOf(of.claim.conditions)
    const against = of.claim.conditions.curve ?? 'riaa'
    return [{ do: 'response', ...placeOf(of), fromHz, toHz, against, outputW: wattsOf(of, quietShare) }]
  },
  'response low': of => cornerJob(of, 'low'),
  'response high': of => cornerJob(of, 'high'),
  noise: of => quietJob(of, { what: 'noise', noise: noiseAsked(of.claim) }),
  'signal to noise': of => {
    const { outputV } = of.claim.conditions
    const reference = outputV === undefined ? { outputW: wattsOf(of) } : { outputV }
    return quietJob(of, { what: 'signal to noise', noise: noiseAsked(of.claim), reference })
  },
  hum: of => of.bench.reach.mains === null
    ? new Cannot('the unit has no mains here whose lines could be looked for')
    : quietJob(of, { what: 'hum' }),
  'dc offset': of => quietJob(of, { what: 'dc offset' }),
  separation: of => severalChannels(of, () => frequenciesOf(of.claim.conditions).map(hz =>
    ({ do: 'separation', ...placeOf(of), hz, outputW: wattsOf(of, quietShare) }))),
  'damping factor': of => {
    const other = otherLoad(of.bench.reach.loadStepsOhm, loadOf(of), of.channel.output.isValve)
    if (other === 'none') return new Cannot(noOtherLoad)
    const hz = of.claim.conditions.frequencyHz ?? referenceHz
    return [{ do: 'damping factor', ...placeOf(of), hz, outputW: wattsOf(of, quietShare) }]
  },
  'input sensitivity': of => frequenciesOf(of.claim.conditions).slice(0, 1).map(hz =>
    ({ do: 'input sensitivity', ...placeOf(of), hz, outputW: wattsOf(of), driven: drivenOf(of) })),
  gain: of => frequenciesOf(of.claim.conditions).slice(0, 1).map(hz =>
    ({ do: 'gain', ...placeOf(of), hz, outputW: wattsOf(of, quietShare), driven: drivenOf(of) })),
  'power bandwidth low': of => bandwidthJob(of, 'low'),
  'power bandwidth high': of => bandwidthJob(of, 'high'),
  'overload recovery': of => [{
    do: 'overload recovery', ...placeOf(of), hz: of.claim.conditions.frequencyHz ?? recoveryDefaults.hz,
    ratedW: of.channel.output.ratedW, overDb: of.claim.conditions.overloadDb ?? recoveryDefaults.overDb,
  }],
  'channel balance': of => severalChannels(of, () => [{
    ...placeOf(of), do: 'channel balance', channel: null, hz: of.claim.conditions.frequencyHz ?? referenceHz,
    outputW: wattsOf(of, quietShare),
  }]),
}

/** What a job asks of the bench that it does not have. */
function jobFault(job: Job, of: Of): string | null {
  const { reach, loads } = of.bench
  const step = reach.loadStepsOhm.find(ohm => Math.abs(ohm / job.loadOhm - 1) <= loadShare)
  if (step === undefined) {
    return `the bench has no load of ${formatSi(job.loadOhm, 'Ω')}: ${reach.loadStepsOhm.join(', ')} Ω`
  }
  const load = loads[of.channel.name]
  if (load?.kind === 'loudspeaker') return 'a loudspeaker hangs at its output'
  const frequency = 'hz' in job ? hzFault(job.hz, of, job.do === 'distortion' ? 2 : 1) : null
  return frequency ?? wattsFault(job, of, load)
}

function hzFault(
  hz: number, { bench: { reach: { generator, digitizer } } }: Of, orders: number,
): string | null {
  const { frequencyMinHz, frequencyMaxHz } = generator
  if (hz < frequencyMinHz || hz > frequencyMaxHz) {
    const reaches = `${formatSi(frequencyMinHz, 'Hz')} to ${formatSi(frequencyMaxHz, 'Hz')}`
    return `the generator goes from ${reaches}, not to ${formatSi(hz, 'Hz')}`
  }
  const mostHz = toldShare * Math.max(...digitizer.sampleRatesHz)
  return orders * hz > mostHz ? `the digitizer tells nothing above ${formatSi(mostHz, 'Hz')}` : null
}

function wattsFault(
  job: Job, { channel: { name }, bench: { reach } }: Of, load: LoadState | undefined,
): string | null {
  const watts = wattsOfJob(job)
  const { outputMaxW = 0 } = reach.limits[name] ?? {}
  const asks = `it asks for ${formatSi(watts, 'W')}`
  if (watts > outputMaxW) return `${asks}, and the ceiling is ${formatSi(outputMaxW, 'W')}`
  const peakW = load?.peakW ?? Infinity
  return watts > peakW ? `${asks}, and the load bears ${formatSi(peakW, 'W')}` : null
}

/** Most that it puts into one load. */
export function wattsOfJob(job: Job): number {
  switch (job.do) {
    case 'quiet': return 0
    case 'output power': return job.aimW
    case 'overload recovery': return job.ratedW
    default: return job.outputW
  }
}
