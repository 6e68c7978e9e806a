/** A claim, and a unit profile, as a person reads them. */
import { formatSi } from '../base/format.ts'
import type { StatedClaim } from '../claims/unit-file.ts'
import { claimWords } from '../claims/words.ts'
import type { Claim } from '../schema/claims.ts'
import type { UnitProfile } from '../schema/unit-profile.ts'
import { renderTable } from './table.ts'

/** What is claimed in canonical words, and what was assumed. */
export const claimLines = (claims: readonly Claim[], assumed: readonly string[]): string[] => [
  ...claims.map(claimWords),
  ...assumed.map(note => `assumed: ${note}`),
]

export function unitProfileLines(profile: UnitProfile, claims: readonly StatedClaim[]): string[] {
  return [
    `${profile.unit}: ${profile.description}`, '', ...supplyLines(profile), '', ...channelLines(profile), '',
    ...limitLines(profile), '', ...stageLines(profile), '', ...statedLines(claims),
  ]
}

function supplyLines({ supply, railsDownS }: UnitProfile): string[] {
  const down = `Rails are below touch-safe ${railsDownS} s after it is off.`
  if (supply.kind === 'dc') {
    const { voltageV, currentMaxA, currentIdleMaxA } = supply
    return [`Supply: ${voltageV} V DC, idle up to ${currentIdleMaxA} A, trips at ${currentMaxA} A.`, down]
  }
  const { voltageV, frequencyHz, protection, fuse, currentMaxA, powerIdleMaxW, powerMaxW } = supply
  return [
    `Mains: ${voltageV} V, ${frequencyHz} Hz; protection: ${protection}; fuse ${fuse}.`,
    `It trips at ${currentMaxA} A (inrush: ${supply.inrushMs} ms), and takes up to ${powerIdleMaxW} W idle, `
      + `${powerMaxW} W at full power; ${supply.mayRunLow ? 'it may run at less than its mains volts'
        : 'it may not run at less than its mains volts'}.`,
    down,
  ]
}

const channelLines = ({ channels }: UnitProfile): string[] => renderTable(
  ['channel', 'rated', 'load', 'output', 'input', 'source', 'at most'].map(heading => ({ heading })),
  channels.map(({ name, input, output }) => [
    name, formatSi(output.ratedW, 'W'), formatSi(output.loadOhm, 'Ω'),
    `${output.kind}${output.isValve ? ', valves' : ''}`, formatSi(input.impedanceOhm, 'Ω'),
    formatSi(input.sourceOhm, 'Ω'), formatSi(input.levelMaxV, 'V'),
  ]))

/** Every limit with where it comes from. */
function limitLines({ channels, rails, idle, temperatures }: UnitProfile): string[] {
  const percent = (share: number): string => `${Number((100 * share).toPrecision(3))} %`
  return renderTable(['limit', 'of', 'source'].map(heading => ({ heading })), [
    ...channels.map(({ name, output: { dcMaxV, dcSource } }) =>
      [`DC at ${name}`, `at most ${formatSi(dcMaxV, 'V')}`, dcSource]),
    ...rails.map(({ name, nominalV, tolerance, pairedWith, asymmetryMax, source }) => [
      `rail ${name}`, `${formatSi(nominalV, 'V')} ± ${percent(tolerance)}`
        + (pairedWith === undefined ? '' : `, within ${percent(asymmetryMax)} of ${pairedWith}`), source,
    ]),
    ...idle.map(({ name, minA, maxA, overOhm, source }) => [
      `idle current ${name}`,
      `${formatSi(minA, 'A')} to ${formatSi(maxA, 'A')}, over ${formatSi(overOhm, 'Ω')}`, source,
    ]),
    ...temperatures.map(({ place, maxC, riseMaxKPerMin, source }) =>
      [`temperature ${place}`, `at most ${maxC} °C, rising at most ${riseMaxKPerMin} K a minute`, source]),
  ])
}

const stageLines = ({ stages }: UnitProfile): string[] => renderTable(
  ['stage', 'rails by then', 'outputs', 'parts proven before', 'note'].map(heading => ({ heading })),
  stages.map(({ name, rails, outputs, parts, note }, i) => [
    `${i + 1} ${name}`, rails.join(', ') || 'none', outputs ? 'looked at' : 'not fitted',
    parts.join(', ') || 'none named', note,
  ]))

function statedLines(claims: readonly StatedClaim[]): string[] {
  if (claims.length === 0) return ['It claims nothing.']
  return [
    'Claims, each as printed and as understood:',
    ...claims.flatMap(({ words, claims: understood, assumed }) =>
      ['', words, ...claimLines(understood, assumed).map(line => `  ${line}`)]),
  ]
}
