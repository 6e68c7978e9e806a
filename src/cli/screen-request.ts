/** From a parts list, a policy and standards on the command line to what the daemon is asked for. */
import { basename, extname } from 'node:path'
import { BenchError } from '../base/errors.ts'
import { decide } from '../parts/decide.ts'
import { idsOf, type PartsLine } from '../schema/parts-list.ts'
import { partsPolicy, type PartsPolicy } from '../schema/parts-policy.ts'
import { invalidFile, loadFile } from '../schema/read-file.ts'
import { checkStandard, type CheckStandard } from '../schema/screening.ts'
import { limitWords } from '../schema/stated-limits.ts'
import { capacitorsWanted, type CapacitorFlags } from './capacitor-options.ts'
import { readPartsFile } from './parts-file.ts'
import { sampleAskedOf, type SampleFlags } from './sample-option.ts'

export interface ScreenFlags extends SampleFlags, CapacitorFlags {
  policy?: string; unit?: string; person: string; standard?: string[]; standardsEvery?: string; ask?: string
  compensate?: boolean; cautionsRead?: boolean; byHand?: boolean
}

export interface ScreenAsked {
  readonly request: object
  /** What the policy says of parts that are not asked for, in words. */
  readonly left: readonly { readonly parts: string; readonly why: string }[]
  /** What the list itself asks of which parts beside their values, in words. */
  readonly stated: readonly { readonly parts: string; readonly why: string }[]
  /** The policy does not decide on some. */
  readonly isOpen: boolean
}

/** Throws FILE_INVALID with every line that cannot be read, USAGE for options that make no sense. */
export function screenRequestOf(file: string, flags: ScreenFlags): ScreenAsked {
  const { list: { parts }, problems } = readPartsFile(file)
  if (problems.length > 0) throw invalidFile(file, problems)
  const policy = flags.policy === undefined ? null : loadFile(flags.policy, partsPolicy, 'a policy')
  const judged = policy ? byPolicy(parts, policy) : { parts, left: [], isOpen: false }
  const sample = sampleAskedOf(flags, judged.parts)
  if (judged.parts.length === 0) {
    throw new BenchError('USAGE', 'there is nothing to screen', {
      expected: 'parts to be proven', got: policy ? `none by policy ${policy.policy}` : 'an empty list',
    })
  }
  return {
    left: judged.left, isOpen: judged.isOpen,
    stated: judged.parts.flatMap(part => (part.limits ?? []).flatMap(limit =>
      idsOf(part).map(parts => ({ parts, why: limitWords(limit) })))),
    request: {
      unit: flags.unit ?? unitOf(file), person: flags.person, parts: judged.parts,
      ...capacitorsWanted(flags),
      standards: (flags.standard ?? []).map(standardOf),
      ...flags.standardsEvery === undefined ? {} : { standardsEvery: Number(flags.standardsEvery) },
      ...sample ? { sample } : {},
      ...flags.compensate === true ? { compensate: true } : {},
      ...flags.byHand === true ? { byHand: true } : {},
      ...flags.cautionsRead === true ? { cautionsConfirmed: true } : {},
      ...flags.ask === undefined ? {} : { ask: flags.ask.replaceAll('-', ' ') },
    },
  }
}

/** The name of a unit by that of the file of its list. */
export const unitOf = (file: string): string =>
  basename(file, extname(file)).replace(/[^A-Za-z0-9._-]+/g, '-').replace(/^[^A-Za-z0-9]+/, '').slice(0, 41)

/** Parts to be proven as they are, and those that replace others, as what goes in must be. */
function byPolicy(
  parts: readonly PartsLine[], policy: PartsPolicy,
): Omit<ScreenAsked, 'request' | 'stated'> & { parts: PartsLine[] } {
  const { decisions } = decide(parts, policy)
  const proven: PartsLine[] = []
  const left: ScreenAsked['left'][number][] = []
  for (const { designator, line, action, requires, reason } of decisions) {
    const part = parts.find(one => one.line === line)!
    const name = designator ?? `line ${line}`
    if (action === 'prove' || action === 'replace-and-prove-new') {
      proven.push({
        ...part, ...designator === null ? {} : { designators: [designator], quantity: 1 },
        ...requires.length === 0 ? {} : { dielectrics: [...requires] },
      })
      continue
    }
    const why = action === null ? 'the policy does not decide' : `${action}: ${reason}`
    left.push({ parts: name, why })
  }
  return { parts: merged(proven), left, isOpen: decisions.some(({ action }) => action === null) }
}

/** Parts that were one line and are asked the same stay one line. */
function merged(parts: readonly PartsLine[]): PartsLine[] {
  const lines = new Map<string, PartsLine>()
  for (const part of parts) {
    const key = JSON.stringify({ ...part, designators: [], quantity: 0 })
    const before = lines.get(key)
    lines.set(key, before && part.designators.length > 0 ? {
      ...part, designators: [...before.designators, ...part.designators],
      quantity: before.quantity + part.quantity,
    } : part)
  }
  return [...lines.values()]
}

/** `id=S1,value=1000,u=0.05,quantity=resistance`, in any order. */
function standardOf(given: string): CheckStandard {
  const fields = Object.fromEntries(given.split(',').map(field => {
    const at = field.indexOf('=')
    return [field.slice(0, Math.max(0, at)).trim(), field.slice(at + 1).trim()]
  }))
  const { value, u, ...rest } = fields as Record<string, string | undefined>
  const parsed = checkStandard.safeParse({ ...rest, value: numberOf(value), u: numberOf(u) })
  if (parsed.success) return parsed.data
  throw new BenchError('USAGE', 'a standard is not understood', {
    expected: 'id=S1,quantity=resistance,value=1000,u=0.05 (or quantity=capacitance), in ohms or farads',
    got: given,
  })
}

const numberOf = (text: string | undefined): number => text === undefined || text === '' ? NaN : Number(text)
