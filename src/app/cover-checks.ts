/** What a bench must have before its jig may give more than touch-safe. */
import { formatSi } from '../base/format.ts'
import { harmlessV } from '../safety/dead.ts'
import type { InstrumentProfile } from '../schema/instrument-profile.ts'
import type { Problem } from '../schema/read-file.ts'
import type { LoadedBench } from './files.ts'
import { isSimulated } from './simulated.ts'

type Say = (path: string, expected: string, got: string) => void
type Cover = NonNullable<NonNullable<LoadedBench['file']['jig']>['cover']>

/** Without a cover no jig goes above this, whatever its file says, V. */
const openMostV = 60
/** Longest time that the bleeder may take with the largest part, s: a person waits for it (ours). */
const bleedMostS = 60

export function coverProblems(bench: LoadedBench, file: string): Problem[] {
  const list: Problem[] = []
  const say: Say = (path, expected, got) => { list.push({ file, path, expected, got }) }
  const { file: { jig } } = bench
  if (!jig) return list
  const { cover, voltageMaxV } = jig
  if (!cover) {
    if (voltageMaxV > openMostV) {
      say('jig.voltageMaxV', `${openMostV} V at most, or \`jig.cover\``, `${voltageMaxV} V`)
    }
    return list
  }
  if (!isSimulated(bench.file)) {
    say('jig.cover', 'none: above touch-safe the jig is for simulated benches alone until what '
      + 'docs/safety.md lists of it is mended', 'a cover over a real jig')
  }
  lacks(bench, say)
  bleederProblems(bench, cover, say)
  boardProblems(bench, say)
  sourceProblems(bench, say)
  return list
}

const profileOf = ({ roles, profiles }: LoadedBench, role: 'jig' | 'source'): InstrumentProfile | undefined =>
  profiles.get(roles.get(role)?.instrument ?? '')?.profile

function lacks({ file: { jig, roles } }: LoadedBench, say: Say): void {
  if (!roles.interlock) {
    say('roles.interlock', 'what reads the cover contact and the button, for `jig.cover`', 'none')
  }
  if (!roles.source) say('roles.source', 'a source whose interlock the cover opens, for `jig.cover`', 'none')
  if (!jig!.leads?.source) say('jig.leads.source', 'relays that lead the source, for `jig.cover`', 'none')
}

/**
 * With the most that one part may hold, from the most volts down to harmless ones: behind the cover, and at
 * hand, where as much energy at fewer volts is a larger part.
 */
function bleederProblems(bench: LoadedBench, { bleederOhm }: Cover, say: Say): void {
  const { jig, limits } = bench.file
  const { voltageMaxV } = jig!
  const profile = profileOf(bench, 'source')
  const interlockOpenV = profile?.class === 'source-measure' ? profile.interlockOpenV : undefined
  const openV = Math.min(voltageMaxV, limits.touchSafeV, interlockOpenV ?? Infinity)
  for (const volts of new Set([voltageMaxV, openV])) {
    const farad = 2 * limits.partEnergyMaxJ / volts ** 2
    const mostOhm = bleedMostS / (farad * Math.max(1, Math.log(volts / harmlessV)))
    if (bleederOhm <= mostOhm) continue
    say('jig.cover.bleederOhm', `at most ${formatSi(mostOhm, 'Ω')}, which empties ${formatSi(farad, 'F')} `
      + `(the limits.partEnergyMaxJ at ${formatSi(volts, 'V')}) in ${bleedMostS} s`,
    formatSi(bleederOhm, 'Ω'))
  }
}

function boardProblems(bench: LoadedBench, say: Say): void {
  const profile = profileOf(bench, 'jig')
  if (profile?.class !== 'relay-board') return
  const { file: { jig }, roles } = bench
  const { instrument } = roles.get('jig')!
  const { voltageMaxV, cover } = jig!
  const other = [...roles].find(([role, at]) =>
    at.instrument === instrument && role !== 'jig' && role !== 'interlock')
  // A safe-off releases all of it at once.
  if (other) say(`roles.${other[0]}`, 'another board than that of a jig with a cover', instrument)
  const { makeV, breakV, makeA, breakA } = profile.contacts
  const leastV = Math.min(makeV, breakV, profile.isolation.betweenChannelsV ?? 0)
  const leastA = Math.min(makeA, breakA)
  if (leastV < voltageMaxV) {
    say('roles.jig', `contacts for ${formatSi(voltageMaxV, 'V')} to break and between each other`,
      `${instrument}: ${formatSi(leastV, 'V')}`)
  }
  earthProblem(bench, profile.isolation.terminalsToEarthV, say)
  const bleedA = voltageMaxV / cover!.bleederOhm
  if (bleedA > leastA) {
    say('jig.cover.bleederOhm',
      `at least ${formatSi(voltageMaxV / leastA, 'Ω')}, for the contacts of ${instrument}`,
      formatSi(cover!.bleederOhm, 'Ω'))
  }
}

/** The worst single fault: one terminal at earth, and a source that runs to its maximum. */
function earthProblem(bench: LoadedBench, terminalsToEarthV: number | undefined, say: Say): void {
  const source = profileOf(bench, 'source')
  const mostV = source?.class === 'source-measure' ? source.voltageRanges.at(-1)!.rangeV : 0
  const needV = Math.max(mostV, bench.file.jig!.voltageMaxV)
  if (terminalsToEarthV !== undefined && terminalsToEarthV >= needV) return
  const has = terminalsToEarthV === undefined ? 'not declared' : formatSi(terminalsToEarthV, 'V')
  say('roles.jig', `contacts for ${formatSi(needV, 'V')} to earth, which the source can give`,
    `${bench.roles.get('jig')!.instrument}: ${has}`)
}

function sourceProblems(bench: LoadedBench, say: Say): void {
  const profile = profileOf(bench, 'source')
  if (profile?.class !== 'source-measure') return
  const { jig, limits: { touchSafeV } } = bench.file
  const { interlockOpenV, isolation: { terminalsToEarthV } } = profile
  const { instrument } = bench.roles.get('source')!
  if (interlockOpenV === undefined || interlockOpenV > touchSafeV) {
    const has = interlockOpenV === undefined ? ', without one' : `: ${formatSi(interlockOpenV, 'V')}`
    const most = formatSi(touchSafeV, 'V')
    say('roles.source', `a source that an open interlock input keeps at ${most} or below (interlockOpenV of `
      + 'its profile), wired to the contact of `jig.cover`', `${instrument}${has}`)
  }
  if (terminalsToEarthV < jig!.voltageMaxV) {
    say('roles.source', `terminals for ${formatSi(jig!.voltageMaxV, 'V')} to earth`,
      `${instrument}: ${formatSi(terminalsToEarthV, 'V')}`)
  }
}
