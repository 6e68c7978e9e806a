/**
 * What the fixture, the parts and the supply allow, worked out before anything is energised. Pure; SI units.
 */
import type { BenchFile, Use } from '../schema/bench.ts'
import type { Refusal } from '../schema/refusals.ts'
import { bleedOhm, changeoverOf, limitingOhm } from '../schema/fixture.ts'
import type { PartProfile } from '../schema/part-profile.ts'

export interface EnvelopeInput {
  bench: BenchFile
  supply: { voltageMaxV: number; currentMaxA: number; outputCapacitanceF: number }
  parts: readonly { position: string; profile: PartProfile; condition: string }[]
  targetV: number
  supplyLimitA: number
  use: Use
}

export interface Envelope {
  partEnergyMaxJ: number
  rackEnergyJ: number
  /** Time for the worst part to fall to touch-safe through its own bleeder. */
  touchSafeAfterS: number
  /** The most any part can dissipate whatever it becomes: min(V²/4R, V·I). */
  partDissipationMaxW: number
  formalDissipationW: number
  resistorDissipationW: number
  bleederDissipationW: number
  sense: { shortV: number }
  refusals: Refusal[]
  warnings: string[]
}

const volts = (v: number): string => `${Number(v.toPrecision(4))} V`
const watts = (w: number): string => `${Number(w.toPrecision(3))} W`
const joules = (j: number): string => `${Number(j.toPrecision(3))} J`

/** Largest of the parts' capacitances with their plus tolerance, farads. */
const worstC = (profile: PartProfile): number => profile.capacitanceF * (1 + profile.tolerancePlus)

export function envelope(input: EnvelopeInput): Envelope {
  const { bench, targetV, parts } = input
  const { fixture } = bench
  const energies = parts.map(({ profile }) => 0.5 * worstC(profile) * targetV ** 2)
  const shed = Math.min(...parts.map(({ profile }) => profile.shedW))
  const touchSafeAfterS = Math.max(0, ...parts.map(({ profile }) =>
    bleedOhm(fixture) * worstC(profile) * Math.log(Math.max(1, targetV / bench.limits.touchSafeV))))
  const computed = {
    partEnergyMaxJ: Math.max(0, ...energies), rackEnergyJ: energies.reduce((sum, energy) => sum + energy, 0),
    touchSafeAfterS,
    partDissipationMaxW: Math.min(targetV ** 2 / (4 * fixture.limitOhm), targetV * input.supplyLimitA),
    formalDissipationW: fixture.formalOhm === undefined ? 0
      : Math.min(targetV ** 2 / (4 * fixture.formalOhm), targetV * input.supplyLimitA),
    resistorDissipationW: targetV ** 2 / fixture.limitOhm,
    bleederDissipationW: targetV ** 2 / bleedOhm(fixture),
    sense: { shortV: (targetV / fixture.limitOhm) * fixture.senseOhm },
  }
  const refusals = [
    ...ratings(input), ...energyRefusals(input, computed), ...heat(input, computed, shed),
    ...layers(input, computed),
  ]
  return { ...computed, refusals, warnings: warnings(input, computed, shed) }
}

type Computed = Omit<Envelope, 'refusals' | 'warnings'>

function ratings({ bench, supply, parts, targetV }: EnvelopeInput): Refusal[] {
  const list: Refusal[] = []
  const ratedOf = [...new Set(parts.map(({ profile }) => profile.ratedV))]
  if (ratedOf.length > 1) {
    const where = (v: number): string => parts.filter(({ profile }) => profile.ratedV === v)
      .map(({ position }) => position).join(' ')
    list.push({ what: 'mixed rated voltages on one rack',
      have: ratedOf.map(v => `${volts(v)} (${where(v)})`).join(', '),
      need: 'one rated voltage', wayOut: 'run each rated voltage by itself' })
  }
  for (const { position, profile, condition } of parts) {
    if (profile.ratedV < targetV) {
      list.push({ what: 'target above the rating of the part', have: volts(targetV),
        need: `at most ${volts(profile.ratedV)}`,
        wayOut: 'lower the target or take the part off', position })
    }
    if (condition !== 'sound') {
      list.push({ what: `the part is noted as ${condition}`, have: condition, need: 'a sound can',
        wayOut: 'take it off; such parts are never energised', position })
    }
  }
  const bounds: [string, number, string][] = [
    ['fixture', bench.fixture.ratedV, 'use a fixture rated for it'],
    ['supply', supply.voltageMaxV, 'use a supply that reaches it'],
    ['bench', bench.limits.voltageMaxV, 'raise the limit in the bench file if the bench really allows it'],
    ['limiting resistor', bench.fixture.limitWorkingV, 'fit resistors with that working voltage'],
    ['relay break rating', changeoverOf(bench.fixture)?.relayBreakV ?? Infinity, 'fit relays rated for it'],
  ]
  for (const [what, most, wayOut] of bounds) {
    if (targetV > most) list.push({
      what: `target above the ${what}`, have: volts(targetV), need: `at most ${volts(most)}`, wayOut,
    })
  }
  return list
}

function energyRefusals({ bench }: EnvelopeInput, computed: Computed): Refusal[] {
  const { partEnergyMaxJ: part, rackEnergyJ: rack } = computed
  const list: Refusal[] = []
  if (part > bench.limits.partEnergyMaxJ) {
    list.push({ what: 'energy in one part', have: joules(part),
      need: `at most ${joules(bench.limits.partEnergyMaxJ)}`,
      wayOut: 'lower the target' })
  }
  if (rack > bench.limits.rackEnergyMaxJ) {
    list.push({ what: 'energy in the rack', have: joules(rack),
      need: `at most ${joules(bench.limits.rackEnergyMaxJ)}`,
      wayOut: 'load fewer parts' })
  }
  return list
}

function heat({ bench, targetV, supplyLimitA }: EnvelopeInput, computed: Computed, shed: number): Refusal[] {
  const { fixture } = bench
  const shortA = targetV / fixture.limitOhm
  const formalA = hasFormal(bench) ? targetV / limitingOhm(fixture, true) : 0
  const inAmps = (n: number): string => `${n.toPrecision(3)} A`
  const rows: [string, number, number, string, (n: number) => string][] = [
    ['heat in a part that fails', computed.partDissipationMaxW, shed, 'raise the limiting resistor', watts],
    [
      'limiting resistor with its part shorted for ever', computed.resistorDissipationW, fixture.limitW,
      'fit a larger resistor', watts,
    ],
    [
      'bus bleeder at target', targetV ** 2 / fixture.busBleederOhm, fixture.busBleederW,
      'fit a larger bus bleeder', watts,
    ],
    [
      'sense voltage with the part shorted', computed.sense.shortV, fixture.senseClampV,
      'lower the sense resistor', volts,
    ],
    ['supply current limit', supplyLimitA, bench.limits.currentMaxA, 'load fewer parts', inAmps],
  ]
  const changeover = changeoverOf(fixture)
  if (changeover) {
    const makeA = Math.max(shortA, targetV / changeover.bleederOhm)
    rows.push(
      [
        'bleeder across a part at target', computed.bleederDissipationW, changeover.bleederW,
        'fit a larger bleeder', watts,
      ],
      ['current a position relay makes', makeA, changeover.relayMakeA, 'fit relays rated for it', inAmps],
      ['current a formal relay makes with its part shorted', formalA, changeover.relayMakeA,
        'raise the formal resistor, or fit relays rated for it', inAmps],
      [
        'current a position relay breaks with its part shorted', shortA, changeover.relayBreakA,
        'fit relays rated for it', inAmps,
      ],
    )
  }
  return rows.filter(([, have, most]) => have > most)
    .map(([what, have, most, wayOut, show]) =>
      ({ what, have: show(have), need: `at most ${show(most)}`, wayOut }))
}

/** Whether touch could harm: by volts, or by what one part stores. */
export const aboveTouchSafe = (
  { touchSafeV, touchSafeJ }: BenchFile['limits'], targetV: number, partJ: number,
): boolean => targetV >= touchSafeV || partJ >= touchSafeJ

/** Independent layers that the way of use demands. */
function layers({ bench, targetV, use }: EnvelopeInput, { partEnergyMaxJ }: Computed): Refusal[] {
  const list: Refusal[] = []
  if (!bench.use.includes(use)) {
    list.push({
      what: 'way of use', have: use, need: bench.use.join(' or '),
      wayOut: 'the bench file names the ways it may be used',
    })
  }
  if (use === 'touch-safe' && targetV >= bench.limits.touchSafeV) {
    list.push({ what: 'target in touch-safe use', have: volts(targetV),
      need: `below ${volts(bench.limits.touchSafeV)}`,
      wayOut: 'choose attended or unattended use' })
  }
  if (use === 'touch-safe' && partEnergyMaxJ >= bench.limits.touchSafeJ) {
    list.push({ what: 'energy in touch-safe use', have: joules(partEnergyMaxJ),
      need: `below ${joules(bench.limits.touchSafeJ)}`,
      wayOut: 'choose attended or unattended use, or lower the target' })
  }
  if (use !== 'unattended' || !aboveTouchSafe(bench.limits, targetV, partEnergyMaxJ)) return list
  const needs: [keyof BenchFile['roles'], string][] = [
    ['cutoff', 'a hold-in cutoff relay'], ['positions', 'changeover relays with bleeders'],
    ['interlock', 'a cover interlock'], ['bus-meter', 'a meter on the bus'], ['sense-meter', 'a sense meter'],
  ]
  for (const [role, words] of needs) {
    if (bench.roles[role] === undefined) {
      list.push({
        what: 'unattended use above touch-safe', have: `no ${role}`, need: words,
        wayOut: 'fit it, or use the bench attended',
      })
    }
  }
  return list
}

const hasFormal = ({ fixture }: BenchFile): boolean =>
  fixture.formalOhm !== undefined && fixture.positions.some(({ formalRelay }) => formalRelay !== undefined)

function warnings(
  { bench, supply, targetV, supplyLimitA, use }: EnvelopeInput, computed: Computed, shed: number,
): string[] {
  const list: string[] = []
  if (use === 'touch-safe' && supply.voltageMaxV > bench.limits.touchSafeV) {
    list.push(`The supply could give ${volts(supply.voltageMaxV)}, and in touch-safe use nothing but its own `
      + 'protection and the supervisor stands against that. '
      + `A supply of ${volts(bench.limits.touchSafeV)} at most needs neither.`)
  }
  if (computed.formalDissipationW > shed) {
    list.push('While the formal reading is taken a part that fails could dissipate '
      + `${watts(computed.formalDissipationW)} until its drop; `
      + 'it is switched in alone and under the supply limit.')
  }
  const formalA = hasFormal(bench) ? Math.min(targetV / limitingOhm(bench.fixture, true), supplyLimitA) : 0
  const relayBreakA = changeoverOf(bench.fixture)?.relayBreakA ?? Infinity
  if (formalA > relayBreakA) {
    list.push(`Were a part to short in its formal reading, its relays would break `
      + `${formalA.toPrecision(3)} A and are rated for ${relayBreakA.toPrecision(3)} A; `
      + 'the cutoff stands behind them. Load fewer parts, or fit relays rated for it.')
  }
  return list
}
