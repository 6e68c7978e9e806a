/** Kinds of parts in people's words, and the letters of designators. Both are common practice. */
import {
  dielectrics, partKinds, type ListedDielectric, type PartKind, type PartsLine,
} from '../schema/parts-list.ts'
import { nearest } from '../schema/problems.ts'

/** What words say of a part; `open` tells what they leave open, `unknown` holds words nobody knows. */
export interface SaidKind {
  readonly kind: PartKind | null
  readonly dielectrics: readonly ListedDielectric[]
  readonly material: PartsLine['material']
  readonly open: string | null
  readonly unknown: readonly string[]
}

interface Meaning {
  kind?: PartKind
  dielectric?: ListedDielectric
  material?: 'silicon' | 'germanium' | 'selenium'
  sign?: string
}

const kindWords: Readonly<Record<string, PartKind>> = {
  res: 'resistor', resistors: 'resistor', pot: 'potentiometer', trimmer: 'potentiometer',
  preset: 'potentiometer',
  cap: 'capacitor', caps: 'capacitor', capacitors: 'capacitor', condenser: 'capacitor', coil: 'inductor',
  choke: 'inductor', xformer: 'transformer', rectifier: 'diode', bridge: 'bridge-rectifier',
  relay: 'relay-contact',
  xtal: 'crystal', valve: 'tube', ic: 'integrated-circuit', ntc: 'thermistor', ptc: 'thermistor',
  plug: 'connector',
  socket: 'connector',
}
const dielectricWords: Readonly<Record<string, ListedDielectric>> = {
  polyester: 'film', polypropylene: 'film', polystyrene: 'film', polycarbonate: 'film', foil: 'film',
  oil: 'paper',
  np0: 'ceramic-1', c0g: 'ceramic-1', npo: 'ceramic-1', cog: 'ceramic-1',
  elec: 'electrolytic', elco: 'electrolytic', aluminium: 'electrolytic',
  aluminum: 'electrolytic', x1: 'class-x', x2: 'class-x', x3: 'class-x', y1: 'class-y', y2: 'class-y',
  y4: 'class-y',
}
/** Words that tell transistors apart, and words that tell nothing here. */
const signs = [
  'transistor', 'bipolar', 'bjt', 'jfet', 'mosfet', 'fet', 'n-channel', 'p-channel', 'n', 'p', 'contact',
  'depletion', 'enhancement',
]
/** Words that make a film one of a resistor. */
const resistive = ['carbon', 'metal', 'oxide', 'composition', 'wirewound']
const fillers = [
  ...resistive, 'silver', 'silvered', 'ceramic', 'metallised',
  'metallized', 'fixed', 'variable', 'axial', 'radial', 'power', 'signal', 'mains', 'audio', 'can', 'safety',
]

function meaningOf(word: string): Meaning | null {
  if ((partKinds as readonly string[]).includes(word)) return { kind: word as PartKind }
  if ((dielectrics as readonly string[]).includes(word)) return { dielectric: word as ListedDielectric }
  if (Object.hasOwn(kindWords, word)) return { kind: kindWords[word]! }
  if (Object.hasOwn(dielectricWords, word)) return { dielectric: dielectricWords[word]! }
  if (word === 'silicon' || word === 'germanium' || word === 'selenium') return { material: word }
  if (signs.includes(word)) return { sign: word }
  return fillers.includes(word) ? {} : null
}

/** Reads words like `electrolytic capacitor`, `zener diode`, `germanium pnp`, `n-channel jfet`. */
export function kindOfWords(text: string): SaidKind {
  const plain = text.trim().toLowerCase().replace(/\b(class)[\s-]+([xy])\d?\b/g, '$1-$2')
    .replace(/\b([np])[\s-]+(?:channel|ch)\b/g, '$1-channel').replace(/\b(ceramic)\s+([12])\b/g, '$1-$2')
    .replace(/\b(bridge|integrated|relay)\s+(rectifier|circuit|contact)s?\b/g, '$1-$2')
  const words = plain.split(/[\s,/()+]+/).filter(Boolean)
  const meanings = words.map(word => meaningOf(word))
  const unknown = words.filter((_, i) => meanings[i] === null)
  const known = meanings.filter(meaning => meaning !== null)
  const said = new Set(known.flatMap(({ sign }) => sign ?? []))
  const kinds = narrowed(new Set(known.flatMap(({ kind }) => kind ?? [])))
  const transistor = transistorOf(said)
  if (transistor.kind && kinds.length === 0) kinds.push(transistor.kind)
  if (kinds.length === 0 && words.some(word => resistive.includes(word))) kinds.push('resistor')
  const dielectric = kinds.includes('resistor') ? [] : known.flatMap(one => one.dielectric ?? [])
  if (kinds.length === 0 && dielectric.length > 0) kinds.push('capacitor')
  const open = kinds.length > 1 ? `one kind, not ${kinds.join(' and ')}`
    : kinds.length === 0 ? transistor.open : null
  return {
    kind: kinds.length === 1 ? kinds[0]! : null, dielectrics: [...new Set(dielectric)],
    material: known.find(one => one.material)?.material ?? null, open, unknown,
  }
}

/** A zener diode is a zener; a bridge rectifier no single diode. */
function narrowed(kinds: Set<PartKind>): PartKind[] {
  if (['zener', 'led', 'bridge-rectifier'].some(kind => kinds.has(kind as PartKind))) kinds.delete('diode')
  return [...kinds]
}

function transistorOf(said: ReadonlySet<string>): { kind: PartKind | null; open: string | null } {
  const channel = (['n', 'p'] as const).find(one => said.has(one) || said.has(`${one}-channel`))
  const gate = said.has('jfet') ? 'jfet' : said.has('mosfet') ? 'mosfet' : null
  // Every junction type conducts without gate volts.
  if (channel && said.has('depletion') && gate !== 'jfet')
    return { kind: `mosfet-${channel}-depletion`, open: null }
  if (gate && channel) return { kind: `${gate}-${channel}`, open: null }
  if (gate) return { kind: null, open: `${gate}-n or ${gate}-p` }
  if (said.has('fet')) return { kind: null, open: 'jfet or mosfet, and its channel' }
  return { kind: null, open: said.size > 0 ? 'npn or pnp, or a field-effect kind' : null }
}

/** What is meant by a word that is not known, if it is near enough to be a slip. */
export function nearKind(word: string): string | undefined {
  const known = [...partKinds, ...dielectrics, ...Object.keys(kindWords), ...Object.keys(dielectricWords)]
  return nearest(word, known)
}

const letters: Readonly<Record<string, readonly PartKind[]>> = {
  R: ['resistor'], C: ['capacitor'], L: ['inductor'], T: ['transformer'], D: ['diode'], CR: ['diode'],
  ZD: ['zener'],
  BR: ['bridge-rectifier'], LED: ['led'], F: ['fuse'], S: ['switch'], SW: ['switch'], K: ['relay-contact'],
  DS: ['lamp', 'led'], LP: ['lamp'], Y: ['crystal'], XTAL: ['crystal'], RT: ['thermistor'], V: ['tube'],
  U: ['integrated-circuit'], IC: ['integrated-circuit'], J: ['connector'], P: ['connector', 'potentiometer'],
  POT: ['potentiometer'], RV: ['potentiometer', 'varistor'], VR: ['potentiometer', 'zener'],
  Q: ['npn', 'pnp', 'jfet-n', 'jfet-p', 'mosfet-n', 'mosfet-p',
    'mosfet-n-depletion', 'mosfet-p-depletion'], TR: ['npn', 'pnp', 'transformer'],
}

/** Kinds that designators with such letters usually have: one to propose, several or none to ask. */
export function kindsOfLetter(letter: string): readonly PartKind[] {
  return Object.hasOwn(letters, letter) ? letters[letter]! : []
}
