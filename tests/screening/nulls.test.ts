/** Finding what a jig adds, and how far it has come from that. */
import { describe, expect, it } from 'vitest'
import { VirtualClock } from '../../src/base/clock.ts'
import type { NullRow } from '../../src/schema/compensation.ts'
import type { ImpedanceReading, Jig, JigReach, Pair } from '../../src/schema/jig.ts'
import type { Measured, Quality } from '../../src/schema/reading.ts'
import { driftOf, emptyDrift } from '../../src/screening/null-drift.ts'
import {
  lookAtZero, nullFrequencies, nullRows, nullsInWords, openAt, readOpen, readShort, zeroContact, zerosFor,
} from '../../src/screening/nulls.ts'
import type { Inductor } from '../../src/screening/to-prove.ts'
import { residualsOf } from '../../src/screening/residuals.ts'

const reach: JigReach = {
  terminals: 2, bridge: { frequenciesHz: { minHz: 20, maxHz: 1e5 } }, ohms: { wires: [2, 4] }, source: null, secondSource: null,
}
type Z = { r: number; x: number; quality?: Quality }

/** What lies in it reads so at a frequency, and at 0 Hz to the ohm-meter; nothing above 100 MΩ. */
function jigOf(z: (hertz: number, turn: number) => Z, over: Partial<JigReach> = {}, u = 1e-3): Jig {
  let turn = 0
  const read = (value: number, size: number, quality: Quality = 'good'): Measured =>
    quality === 'good' && size < 1e8 ? { value, u: u * size, quality, atMs: 0 } : { value: NaN, u: NaN, quality: quality === 'good' ? 'over-range' : quality, atMs: 0 }
  return {
    reach: { ...reach, ...over }, residuals: residualsOf(null),
    impedance: async (_pair: Pair, { frequencyHz, levelV }: { frequencyHz: number; levelV: number }): Promise<ImpedanceReading> => {
      const { r, x, quality } = z(frequencyHz, turn++)
      const size = Math.hypot(r, x)
      return { rOhm: read(r, size, quality), xOhm: read(x, size, quality), frequencyHz, levelV }
    },
    resistance: async () => { const { r, quality } = z(0, turn++); return read(r, Math.abs(r), quality) },
  } as unknown as Jig
}
const capacitor = (farad: number, r = 0) => (hertz: number): Z => ({ r, x: -1 / (2 * Math.PI * hertz * farad) })
const wire = (r: number, henry = 1e-7) => (hertz: number): Z => ({ r: hertz === 0 ? 0.2 + r : r, x: 2 * Math.PI * hertz * henry })
const all = [120, 1e3, 1e4, 1e5]

describe('the frequencies of a compensation', () => {
  it('are those of the methods within reach, each once, and those of the inductors of the list', () => {
    const coil = { kind: 'inductor', henry: { nominal: 1e-3, minus: 0.1, plus: 0.1, source: '' }, frequencyHz: 25e3, quality: null, dcOhm: null } as unknown as Inductor
    expect(nullFrequencies([coil, coil], reach)).toEqual([120, 1e3, 1e4, 25e3, 1e5])
    expect(nullFrequencies([coil], { ...reach, bridge: { frequenciesHz: [100, 120, 1e3, 1e4] } })).toEqual([120, 1e3, 1e4])
    expect(nullFrequencies([coil], { ...reach, bridge: null })).toEqual([])
  })

  it('need no empty jig where only an ohm-meter is, and are refused where neither is', () => {
    expect([zerosFor(reach), zerosFor({ ...reach, bridge: null })]).toEqual([['empty jig', 'shorting wire'], ['shorting wire']])
    for (const ohms of [null, { wires: [4] as const }]) {
      expect(() => zerosFor({ ...reach, bridge: null, ohms })).toThrow('the jig cannot be compensated')
    }
  })
})

describe('the empty jig', () => {
  it('is read as far as the bridge reaches, and below that by what was seen higher up, with less certainty', async () => {
    const read = await readOpen(jigOf(capacitor(1e-12)), all)
    if ('wrong' in read) throw new Error(read.wrong)
    expect([read.get(120), read.get(1e3)]).toEqual([null, null])
    for (const hertz of all) {
      const omega = 2 * Math.PI * hertz
      const { bS, u } = openAt(read, hertz)!
      expect(bS / omega).toBeCloseTo(1e-12, 15)
      expect(u / omega / 1e-12).toBeCloseTo(hertz < 1e4 ? 0.1 : 1e-3, 3)
    }
    expect(openAt(read, 0)).toBeNull()
    expect(openAt(new Map([[1e3, null]]), 1e3)).toBeNull()
  })

  it.each([
    ['30 pF', capacitor(30e-12), /something lies in the jig: 159 kΩ at 10\.0 kHz, 30\.0 pF|something lies .* at 120 Hz, 30\.0 pF/],
    ['1 kΩ', (): Z => ({ r: 1000, x: 0 }), /something lies in the jig: 1\.00 kΩ at 120 Hz/],
    ['a coil', (): Z => ({ r: 1, x: 500 }), /something lies in the jig/],
    ['fingers that move', (hertz: number, turn: number): Z => capacitor((1 + 0.2 * (turn % 2)) * 2e-12)(hertz), /not still at 1\.00 kHz/],
    ['a bridge that gives nonsense', (): Z => ({ r: 1, x: 1, quality: 'implausible' }), /no number at 120 Hz: implausible/],
  ] as const)('is not taken for empty with %s', async (_what, z, says) => {
    expect(await readOpen(jigOf(z), all)).toEqual({ wrong: expect.stringMatching(says) as string })
  })
})

describe('the wire', () => {
  it('is read at every frequency, and to two wires', async () => {
    const read = await readShort(jigOf(wire(0.03)), all)
    if ('wrong' in read) throw new Error(read.wrong)
    expect([...read.keys()]).toEqual([0, ...all])
    expect(read.get(0)).toMatchObject({ rOhm: expect.closeTo(0.23, 9) as number, xOhm: 0 })
    expect(read.get(1e5)!.xOhm).toBeCloseTo(2 * Math.PI * 1e5 * 1e-7, 9)
  })

  it.each([
    ['an open jig', capacitor(1e-12), /no wire across 1 and 2: no number/],
    ['ten ohms', wire(10), /no wire: 10\.2 Ω to the ohm-meter/],
    ['a coil', wire(0.1, 1e-3), /no wire: 6\.28 Ω at 1\.00 kHz/],
    ['a clip that wobbles', (hertz: number, turn: number): Z => wire(0.05 * (turn % 3))(hertz), /poor contact: the wire moved by 100 mΩ/],
  ] as const)('is not taken for one where it is %s', async (_what, z, says) => {
    expect(await readShort(jigOf(z), all)).toEqual({ wrong: expect.stringMatching(says) as string })
  })

  it('and the empty jig are told apart by looking', async () => {
    const at = async (z: (hertz: number, turn: number) => Z, over: Partial<JigReach> = {}): Promise<number> => (await lookAtZero(jigOf(z, over), new VirtualClock())).ohm
    const [empty, short] = [zeroContact('empty jig', reach).openOhm, zeroContact('shorting wire', reach).openOhm]
    for (const farad of [1e-12, 15e-12]) expect(await at(capacitor(farad))).toBeGreaterThan(empty)
    expect(await at(capacitor(30e-12))).toBeLessThan(empty)
    expect(await at(wire(0.03))).toBeLessThan(short)
    expect(await at(wire(0.03), { bridge: null })).toBeCloseTo(0.23, 9)
    expect(await at(() => ({ r: NaN, x: 0, quality: 'over-range' }), { bridge: null })).toBe(Infinity)
  })
})

async function rowsOf(r: number, farad: number, henry = 1e-7, leads = 0): Promise<NullRow[]> {
  const short = await readShort(jigOf(hertz => ({ ...wire(r, henry)(hertz), ...hertz === 0 ? { r: 0.2 + leads } : {} })), all)
  const open = await readOpen(jigOf(capacitor(farad)), all)
  if ('wrong' in short || 'wrong' in open) throw new Error('not read')
  return nullRows('0123456789abcdef', open, short)
}

describe('drift', () => {
  it('is told of what moved most for what is left open, and no return of contacts is one', async () => {
    const before = await rowsOf(0.03, 1e-12)
    expect(nullsInWords(before)).toBe('30 mΩ and 100 nH in series, 1.0 pF beside, leads 200 mΩ')
    const still = await rowsOf(0.03 + 0.02, 1e-12 + 0.2e-12, 1e-7 + 0.04e-6, 0.04)
    expect(driftOf(before, still)).toMatchObject({ isDrifted: false })
    expect(driftOf(before, await rowsOf(0.08, 1e-12))).toMatchObject({ isDrifted: true, says: 'the wire reads 50 mΩ' })
    expect(driftOf(before, await rowsOf(0.03, 1.4e-12))).toMatchObject({ isDrifted: true, says: 'the empty jig reads 400 fF' })
    expect(driftOf(before, await rowsOf(0.03, 1e-12, 2.5e-7))).toMatchObject({ isDrifted: true, says: 'the wire reads 150 nH' })
    expect(driftOf(before, await rowsOf(0.03, 1e-12, 1e-7, 0.1))).toMatchObject({ isDrifted: true, says: 'the leads read 100 mΩ' })
    expect(driftOf([], before)).toBeNull()
  })

  it('of the empty jig alone is told without the wire', async () => {
    const before = await rowsOf(0.03, 1e-12)
    const open = async (farad: number) => await readOpen(jigOf(capacitor(farad)), all) as Exclude<Awaited<ReturnType<typeof readOpen>>, { wrong: string }>
    expect(emptyDrift(before, await open(1.05e-12))).toMatchObject({ isDrifted: false })
    expect(emptyDrift(before, await open(2e-12))).toMatchObject({ isDrifted: true, says: expect.stringContaining('the empty jig reads 1') as string })
    expect(emptyDrift(before, new Map(all.map(hertz => [hertz, null])))).toBeNull()
  })
})
