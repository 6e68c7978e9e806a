/**
 * What may be said of a part at the temperature and volts of its unit, where its profile asks. It changes no
 * grade. Pure.
 */
import { coldestC, deratedV, serviceLife, type ServiceLife } from '../analysis/service-life.ts'
import { formatSi } from '../base/format.ts'
import { partProfile, type PartProfile } from '../schema/part-profile.ts'
import type { LoadedPart, RunRecord } from '../schema/run.ts'
import type { InService } from '../schema/service.ts'
import { partSetupsOf, partsOf } from './setup.ts'

type Asking = Pick<PartProfile, 'life' | 'derate' | 'ratedV'>
type Said = Pick<LoadedPart, 'serviceC' | 'serviceV'>

/**
 * `insideC`: of the whole unit, where nothing is said of the part. Null where nobody asks, or says how warm
 * it is.
 */
export function inServiceOf(
  profile: Asking, { serviceC, serviceV }: Said, insideC: number | null = null,
): InService | null {
  const { life = null, derate = null, ratedV } = profile
  const temperatureC = serviceC ?? insideC
  if (life === null && derate === null || temperatureC === null) return null
  const volts = serviceV ?? ratedV
  const mostV = deratedV(ratedV, derate, temperatureC)
  const service: Omit<InService, 'cautions' | 'madeOf'> = {
    temperatureC, volts, temperatureFrom: serviceC === undefined ? 'unit' : 'rack list',
    voltsFrom: serviceV === undefined ? 'rating' : 'rack list', deratedV: mostV,
    life: life && volts <= mostV ? serviceLife({ ...life, ratedV }, { temperatureC, volts }) : null,
  }
  return { ...service, cautions: cautionsOf(profile, service), madeOf: madeOf(profile, service) }
}

/** The same of a part as it was on a position in a run. */
export function inServiceIn(
  run: RunRecord, position: string, insideC: number | null = null,
): InService | null {
  const part = partsOf(run).find(one => one.position === position)
  const setup = part && partSetupsOf(run).find(({ name }) => name === part.profile)
  const profile = partProfile.safeParse(setup?.profile)
  return part && profile.success ? inServiceOf(profile.data, part, insideC) : null
}

function cautionsOf(
  { life }: Asking, { temperatureC, volts, deratedV: mostV }: Omit<InService, 'cautions' | 'madeOf'>,
): string[] {
  return [
    ...volts > mostV ? [`${formatSi(volts, 'V')} in its unit are more than the ${formatSi(mostV, 'V')} to `
      + `which it is rated at ${temperatureC} °C`] : [],
    ...life && temperatureC > life.atC
      ? [`${temperatureC} °C in its unit are more than the ${life.atC} °C of its data sheet`] : [],
  ]
}

function madeOf(
  { life, derate, ratedV }: Asking,
  { temperatureC, volts, voltsFrom, life: found }: Omit<InService, 'cautions' | 'madeOf'>,
): string[] {
  const ofVolts = voltsFrom === 'rating' ? ['rated volts are taken: the rack list says none'] : volts < ratedV
    ? ['that fewer volts help: a maker\'s straight line (from memory) and a power (second hand); '
      + 'the low end does not count on it'] : []
  return [
    ...life && found ? [
      `${life.ratedH} h at ${life.atC} °C and rated volts: ${life.source}`,
      'half of it for each 10 K more: a rule of thumb (read in an encyclopaedia); the range holds what '
        + '0.59 to 0.83 eV make of it, and a factor of 1.5 both ways for makes and lots (our choice)',
      ...temperatureC < coldestC ? [`colder than ${coldestC} °C counts as ${coldestC} °C (our choice)`] : [],
      ...ofVolts,
      'of a new part, always on: what this one has used up already is not known; an old one has less left',
    ] : [],
    ...derate ? [`rated volts less ${Number((100 * derate.sharePerK).toPrecision(3))} % for each kelvin `
      + `above ${derate.aboveC} °C: ${derate.source}`] : [],
  ]
}

const yearH = 8766
const twoDigits = (value: number): string => Number(value.toPrecision(2)).toLocaleString('en')
const years = (hours: number): string => twoDigits(hours / yearH)

/** Hours and years with their range, never without it. */
export const lifeWords = ({ hours, lowH, highH }: ServiceLife): string =>
  `about ${twoDigits(hours)} h (${years(hours)} years), from ${twoDigits(lowH)} to ${twoDigits(highH)} h `
    + `(${years(lowH)} to ${years(highH)} years)`

/** One phrase for a table: at what, how long, and what to mind. */
export function inServiceWords({ temperatureC, volts, life, deratedV: mostV, cautions }: InService): string {
  const at = `at ${temperatureC} °C and ${formatSi(volts, 'V')}`
  const said = life ? [`a new one may last ${lifeWords(life)}`]
    : cautions.length > 0 ? [] : [`rated to ${formatSi(mostV, 'V')}`]
  const minded = cautions.map(text => `CAUTION: ${text}`)
  return `${at}: ${[...said, ...minded, ...minded.length > 0 ? ['its life cannot be told'] : []].join('; ')}`
}
