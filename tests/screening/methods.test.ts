/** Methods and grades held against parts whose truth is known: no defect passes as good, sound parts are found sound. */
import { describe, expect, it } from 'vitest'
import { defectsOf, usualRatings, type ComponentKind, type Defect } from '../../mocks/components/kinds.ts'
import { makeComponent } from '../../mocks/components/make-component.ts'
import { prove } from '../../src/screening/at-jig.ts'
import { judge, type Verdict } from '../../src/screening/grade.ts'
import { asked, kinds } from './asked.ts'
import { PhysicsJig } from './physics-jig.ts'

async function verdictOn(kind: ComponentKind, seed: number, defect?: Defect): Promise<{ verdict: Verdict; jig: PhysicsJig }> {
  const part = makeComponent(kind, usualRatings[kind], seed, defect ? { defect } : {})
  const jig = new PhysicsJig(part, seed)
  const item = { id: `${kind}-${seed}`, part: asked[kind]! }
  return { verdict: judge(item, await prove(jig, item, {}, jig.guide), []), jig }
}

/** Found and measured the other way round: these parts are as good one way as the other. */
const turnable: readonly ComponentKind[] = ['diode', 'zener', 'led', 'npn', 'pnp', 'npn-germanium', 'pnp-germanium', 'n-jfet', 'p-jfet', 'n-mosfet', 'p-mosfet', 'n-depletion-mosfet', 'p-depletion-mosfet', 'bridge-rectifier', 'selenium-rectifier', 'selenium-bridge', 'transformer', 'tapped-transformer', 'electrolytic-capacitor', 'tantalum-capacitor']
/** Another dielectric of the same value and at least as little loss cannot be told, and does what was asked. */
const alike: readonly ComponentKind[] = ['film-capacitor', 'ceramic-capacitor']
/**
 * A few ohms in line that move by less than the instrument explains cannot be told: the share that is found at least,
 * of contacts of 3 to 100 ohms, with readings that are 0.05 % uncertain.
 */
const contactsFound: Partial<Record<ComponentKind, number>> = {
  // As much as sound wipers do.
  potentiometer: 0.8, 'selenium-rectifier': 0.9, 'ganged-potentiometer': 0.8,
  resistor: 0.4, 'film-capacitor': 0.6, 'mains-capacitor': 0.85, 'paper-capacitor': 0.1, 'ceramic-capacitor': 0.05, 'mica-capacitor': 0, 'class-1-capacitor': 0.8, led: 0.6, npn: 0.85, pnp: 0.8, 'npn-germanium': 0.85,
  'n-jfet': 0.9, 'p-jfet': 0.9,
  // Through an insulated gate nothing flows: a contact in line with it, one of three, shows in nothing.
  'n-mosfet': 0.5, 'p-mosfet': 0.5, 'n-depletion-mosfet': 0.5, 'p-depletion-mosfet': 0.5,
}

const isDecidable = (kind: ComponentKind) => (defect: Defect): boolean =>
  !(defect === 'reversed' && turnable.includes(kind)) && !(defect === 'mislabelled' && alike.includes(kind))
  && !(defect === 'poor-contact' && kind in contactsFound)

describe.each(kinds)('a %s', kind => {
  it('that is sound is hardly ever called bad', async () => {
    const grades: Record<string, number> = {}
    for (let seed = 1; seed <= 60; seed++) {
      const { verdict } = await verdictOn(kind, seed)
      grades[verdict.grade] = (grades[verdict.grade] ?? 0) + 1
      if (verdict.grade === 'reject') expect.soft(verdict.reason, `seed ${seed}`).toBe('sound')
    }
    expect(grades['accept'] ?? 0, JSON.stringify(grades)).toBeGreaterThanOrEqual(50)
  })

  it.each(defectsOf[kind].filter(isDecidable(kind)))('that is %s is never accepted', async defect => {
    const accepted: string[] = []
    for (let seed = 1; seed <= 40; seed++) {
      const { verdict } = await verdictOn(kind, seed, defect)
      if (verdict.grade === 'accept') accepted.push(`seed ${seed}: ${verdict.says} ${JSON.stringify(verdict.figures)}`)
    }
    expect(accepted).toEqual([])
  })

  it('never gets more than its own conditions ask for, and no more than the probing limits while it is found out', async () => {
    const part = asked[kind]!
    const wantedV = part.kind === 'diode' ? 30 : part.kind === 'bipolar' ? 5 : ['jfet', 'depletion-mosfet'].includes(part.kind) ? 15 : ['mosfet', 'bridge-rectifier', 'transformer'].includes(part.kind) ? 20 : part.kind === 'capacitor' ? 30 : 4
    for (const defect of [undefined, ...defectsOf[kind]]) {
      const { jig } = await verdictOn(kind, 7, defect)
      expect(jig.mostV).toBeLessThanOrEqual(wantedV)
      expect(jig.mostA).toBeLessThanOrEqual(0.1)
    }
  })
})

describe.each(Object.entries(contactsFound) as [ComponentKind, number][])('a %s with a poor contact', (kind, least) => {
  it('is found as often as the readings can show it', async () => {
    let found = 0
    for (let seed = 1; seed <= 60; seed++) {
      const { verdict } = await verdictOn(kind, seed, 'poor-contact')
      if (verdict.grade !== 'accept') found++
    }
    expect(found / 60).toBeGreaterThanOrEqual(least)
  })
})

describe.each(turnable)('a %s that lies the other way round', kind => {
  it('is measured all the same, and says how it lies', async () => {
    for (let seed = 1; seed <= 20; seed++) {
      const { verdict } = await verdictOn(kind, seed, 'reversed')
      expect(verdict.grade).toBe('accept')
      expect(verdict.notes.join()).toMatch(/other way round|base \d|gate \d|plus \d/)
    }
  })
})
