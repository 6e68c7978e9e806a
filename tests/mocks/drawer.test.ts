/** The drawer of the Pavilion's amplifier: what lies in it, and what is said to be right of it. */
import { describe, expect, it } from 'vitest'
import { drawDrawer, type TruthOfPart } from '../../mocks/bench/drawer.ts'
import { isFaint } from '../../mocks/bench/faint.ts'
import { truthInWords } from '../../mocks/bench/truth-words.ts'
import { componentKinds, defectsOf, usualRatings, type ComponentKind, type Defect } from '../../mocks/components/kinds.ts'
import { makeComponent } from '../../mocks/components/make-component.ts'
import { packageFile } from '../../src/base/paths.ts'
import { readPartsFile } from '../../src/cli/parts-file.ts'

const { list, problems } = readPartsFile(packageFile('profiles', 'lists', 'saltmarsh-amplifier.csv'))
/** Kinds that are not simulated. */
const absent = ['tube', 'integrated-circuit']

describe('the drawer', () => {
  it('holds what its list says and nothing else, with the values of the list', () => {
    expect(problems).toEqual([])
    const { parts } = drawDrawer(1)
    const lines = list.parts.filter(({ kind }) => !absent.includes(kind!))
    expect([...parts.keys()].sort()).toEqual(lines.flatMap(({ designators }) => designators).sort())
    for (const { designators, value, toleranceMinus, ratedV, kind } of lines) {
      for (const name of designators) {
        const { marked, rating } = parts.get(name)!.truth
        expect(marked.includes(kind!.replace(/^jfet-n$/, 'n-jfet').replace(/switch|relay-contact|fuse/, 'contact')), name).toBe(true)
        if (value && kind !== 'transformer') expect(rating.value / value.si, name).toBeCloseTo(1, 9)
        if (kind === 'zener') expect(rating.value, name).toBe(ratedV)
        if (toleranceMinus !== null) expect(rating.tolerance, name).toBeCloseTo(toleranceMinus, 9)
      }
    }
  })

  it('is the same for the same seed, and another for another', () => {
    const truth = (seed: number): TruthOfPart[] => drawDrawer(seed).truth()
    expect(truth(7)).toEqual(truth(7))
    expect(truth(7)).not.toEqual(truth(8))
    expect(truth(7).some(({ defect }) => defect !== null)).toBe(true)
  })

  it('has standards as far from their certificates as those leave open', () => {
    for (let seed = 1; seed <= 50; seed++) {
      const drawer = drawDrawer(seed)
      for (const { id, value, u, quantity } of drawer.standards) {
        const really = drawer.find(id)!.truth.values[quantity === 'resistance' ? 'ohm' : 'farad']!
        expect(Math.abs(really - value) / u, id).toBeLessThan(2.5)
      }
    }
  })

  it('finds nothing under a name that is not on the table', () => {
    expect(drawDrawer(1).find('V1')).toBeNull()
  })
})

const made = (kind: ComponentKind, defect: Defect, seed = 1, rating = usualRatings[kind]) => makeComponent(kind, rating, String(seed), { defect })

describe('what is said of the truth', () => {
  it('is a sentence for every kind and defect', () => {
    for (const kind of componentKinds) {
      for (const defect of defectsOf[kind]) {
        const words = truthInWords(made(kind, defect).truth)
        expect(words, `${kind} ${defect}`).toMatch(/^[a-z ]+/)
        expect(words, `${kind} ${defect}`).not.toMatch(/undefined|NaN|–/)
      }
    }
  })

  it('calls faint what a list does not ask for, or what changes less than a hundredth', () => {
    const faint = (kind: ComponentKind, defect: Defect, rating = usualRatings[kind]): boolean =>
      isFaint(made(kind, defect, 1, rating), '1')
    expect(faint('resistor', 'poor-contact', { value: 1e6, tolerance: 0.05 })).toBe(true)
    expect(faint('resistor', 'poor-contact', { value: 10, tolerance: 0.05 })).toBe(false)
    expect(faint('film-capacitor', 'leaky')).toBe(true)
    expect(faint('ceramic-capacitor', 'mislabelled')).toBe(true)
    expect(faint('class-1-capacitor', 'mislabelled')).toBe(false)
    expect(faint('n-jfet', 'low-gain')).toBe(true)
    expect(faint('npn', 'low-gain')).toBe(false)
    expect(faint('zener', 'leaky')).toBe(true)
    for (const [kind, defect] of [
      ['resistor', 'drifted'], ['resistor', 'open'], ['resistor', 'mislabelled'], ['film-capacitor', 'short'], ['inductor', 'short'],
      ['diode', 'leaky'], ['npn', 'short'],
    ] as const) expect(faint(kind, defect), `${kind} ${defect}`).toBe(false)
  })
})
