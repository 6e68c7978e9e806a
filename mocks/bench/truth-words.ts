/** What a part really is, in one sentence. */
import { formatSi } from '../../src/base/format.ts'
import type { ComponentTruth } from '../components/component.ts'
import type { ComponentKind, Defect } from '../components/kinds.ts'

/** The value for which a part is bought, and its unit. */
const bought: Readonly<Partial<Record<string, readonly [name: string, unit: string]>>> = {
  resistor: ['ohm', 'Ω'], potentiometer: ['ohm', 'Ω'], contact: ['ohm', 'Ω'], inductor: ['henry', 'H'],
  'film-capacitor': ['farad', 'F'], 'ceramic-capacitor': ['farad', 'F'], 'mica-capacitor': ['farad', 'F'],
  'class-1-capacitor': ['farad', 'F'],
  'electrolytic-capacitor': ['farad', 'F'], 'tantalum-capacitor': ['farad', 'F'],
  'paper-capacitor': ['farad', 'F'], 'mains-capacitor': ['farad', 'F'], zener: ['zenerV', 'V'],
  npn: ['gain', ''], pnp: ['gain', ''], 'npn-germanium': ['gain', ''], 'pnp-germanium': ['gain', ''],
}

export function truthInWords(truth: ComponentTruth): string {
  const { defect } = truth
  return defect === null ? `sound${valueOf(truth)}` : words[defect](truth)
}

function valueOf({ kind, values }: ComponentTruth): string {
  const [name, unit] = bought[kind] ?? ['', '']
  const value = values[name]
  if (value === undefined) return ''
  return unit === '' ? `, gain ${value.toFixed(0)}` : `, ${formatSi(value, unit)}`
}

/** Of one junction, or the leakiest of several. */
const mostLeakA = (values: ComponentTruth['values']): number =>
  Math.max(...Object.entries(values).filter(([name]) => name.startsWith('leakA')).map(([, amps]) => amps))

const named = (kind: ComponentKind): string => kind.replace(/-(?!1)/g, ' ')

const words: Readonly<Record<Defect, (truth: ComponentTruth) => string>> = {
  short: ({ bridge }) => `short: ${formatSi(bridge!.ohm, 'Ω', 2)} from ${bridge!.pins.join(' to ')}`,
  open: ({ lead }) => lead ? `open at its ${lead.pin}` : 'open inside',
  'poor-contact': ({ lead, values }) => lead
    ? `poor contact: some ${formatSi(lead.ohm, 'Ω', 2)} at its ${lead.pin}`
    : `poor contact: a worn spot of ${formatSi((values['wornOhm']! || values['wornOhm2']) ?? 0, 'Ω', 2)}`,
  'wrong-value': truth => `wrong value${valueOf(truth)}`,
  drifted: truth => `drifted${valueOf(truth)}`,
  leaky: ({ values }) => {
    const insulations = Object.entries(values).filter(([name]) => name.startsWith('insulationOhm'))
    const ohms = insulations.map(([, ohm]) => ohm)
    return ohms.length === 0 ? `leaky: ${formatSi(mostLeakA(values), 'A', 2)}`
      : `leaky: ${formatSi(Math.min(...ohms), 'Ω', 2)}`
  },
  'no-bleeder': () => 'nothing empties it: its bleeder is open',
  'low-gain': truth => `little gain${valueOf(truth)}`,
  reversed: ({ pins }) => `legs in another order: ${pins.join(', ')}`,
  mislabelled: truth => truth.kind === 'tapped-transformer' ? 'its tap is marked as an end'
    : (truth.kind === truth.marked ? 'another law' : `another part: ${named(truth.kind)}`) + valueOf(truth),
}
