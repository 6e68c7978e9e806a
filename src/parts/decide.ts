/** What a policy says of every part of a list: pure. */
import type { PartsLine } from '../schema/parts-list.ts'
import type { PartsPolicy, PolicyAction, PolicyRule } from '../schema/parts-policy.ts'

export type PartAction = 'prove' | 'replace' | 'replace-and-prove-new' | 'leave'

/** Of one designator, or of a whole reel. */
export interface Decision {
  readonly designator: string | null
  readonly line: number
  /** Null where the policy does not decide: then `conflicts` or `unsure` say why. */
  readonly action: PartAction | null
  /** Classes that the part which goes in must carry. */
  readonly requires: readonly ('class-x' | 'class-y')[]
  /** The rules that decided, `otherwise` where none matched. */
  readonly rules: readonly string[]
  readonly reason: string
  /** Rules that want different things of the part. */
  readonly conflicts: readonly { readonly rule: string; readonly action: PolicyAction }[]
  /** Rules that might match, were it known what the list does not say. */
  readonly unsure: readonly { readonly rule: string; readonly missing: string }[]
}

export interface Decided {
  readonly decisions: readonly Decision[]
  /** What a person should know of the policy as a whole. */
  readonly remarks: readonly string[]
}

/** Judges every part. The order of rules does not matter: what they disagree on is told, not chosen. */
export function decide(parts: readonly PartsLine[], policy: PartsPolicy): Decided {
  const clashes: string[] = []
  const used = new Set<string>()
  const decisions = parts.flatMap(part => {
    const names: (string | null)[] = part.designators.length > 0 ? part.designators : [null]
    return names.map(designator => {
      const places = placesOf(part, designator, policy)
      if (part.where !== null && places.length > 1) {
        clashes.push(`${designator} sits at ${places.join(' and ')}: list and policy differ`)
      }
      const decision = decideOne(part, designator, places, policy)
      for (const rule of decision.matched) used.add(rule)
      return decision.decision
    })
  })
  return { decisions, remarks: [...clashes, ...policyRemarks(parts, policy, used)] }
}

function placesOf({ where }: PartsLine, designator: string | null, { places }: PartsPolicy): string[] {
  const named = Object.entries(places)
    .flatMap(([place, names]) => designator !== null && names.includes(designator) ? [place] : [])
  return [...new Set([...where === null ? [] : [where], ...named])]
}

function decideOne(
  part: PartsLine, designator: string | null, places: readonly string[], policy: PartsPolicy,
): { decision: Decision; matched: string[] } {
  const judged = policy.rules.map(rule => ({ rule, verdict: matches(rule, part, designator, places) }))
  const matching = judged.filter(({ verdict }) => verdict === true).map(({ rule }) => rule)
  const ruling = withoutOverruled(matching)
  const outcome = outcomeOf(ruling, part, policy)
  const unsureOf = judged.flatMap(({ rule, verdict }) =>
    typeof verdict === 'string' ? [{ rule, missing: verdict }] : [])
  const mayMatch = unsureOf.filter(({ rule }) =>
    !ruling.some(({ over = [] }) => over.includes(rule.name)) && !agrees(rule, outcome))
  const unsure = mayMatch.map(({ rule, missing }) => ({ rule: rule.name, missing }))
  const reason = 'the list does not say enough'
  const open: Outcome = { ...outcome, action: null, requires: [], rules: [], reason }
  return {
    matched: matching.map(({ name }) => name),
    decision: { designator, line: part.line, ...unsure.length > 0 ? open : outcome, unsure },
  }
}

/** Rules that no other matching rule was put over. */
function withoutOverruled(rules: readonly PolicyRule[]): PolicyRule[] {
  return rules.filter(({ name }) => !rules.some(({ over = [] }) => over.includes(name)))
}

type Outcome = Omit<Decision, 'designator' | 'line' | 'unsure'>

function outcomeOf(ruling: readonly PolicyRule[], part: PartsLine, policy: PartsPolicy): Outcome {
  const plain = ruling.filter(({ action }) => !action.startsWith('require'))
  const lacking = ruling.filter(({ action }) => lacks(action, part))
  const actions = new Set(plain.map(({ action }) => action as PartAction))
  const requires = [...new Set(lacking.map(({ action }) =>
    action === 'require class-x' ? 'class-x' as const : 'class-y' as const))]
  const isReplaced = [...actions].every(action => action.startsWith('replace'))
  const clash = actions.size > 1 || (requires.length > 0 && !isReplaced)
  if (clash) {
    const conflicts = [...plain, ...lacking].map(({ name, action }) => ({ rule: name, action }))
    return { action: null, requires: [], rules: [], reason: 'rules disagree', conflicts }
  }
  const deciding = [...plain, ...lacking]
  if (deciding.length > 0) {
    return {
      action: [...actions][0] ?? 'replace', requires, rules: deciding.map(({ name }) => name),
      reason: deciding.map(({ reason }) => reason).join('; '), conflicts: [],
    }
  }
  // What carries the class that is required goes the way of everything else.
  const met = ruling.map(({ name }) => name)
  const { action, reason } = policy.otherwise
  return { action, requires: [], rules: [...met, 'otherwise'], reason, conflicts: [] }
}

/** Whether a class is required that the list does not say the part carries. */
function lacks(action: PolicyAction, { safetyClasses }: PartsLine): boolean {
  if (action === 'require class-x') return !safetyClasses.some(name => name.startsWith('X'))
  if (action === 'require class-y') return !safetyClasses.some(name => name.startsWith('Y'))
  return false
}

/** A rule that may match and asks for no more than is decided leaves nothing open. */
function agrees(rule: PolicyRule, { action, requires }: Outcome): boolean {
  if (rule.action.startsWith('require')) return requires.some(name => rule.action.endsWith(name))
  return rule.action === action
}

/** True or false, or what would have to be known. Capacitors alone can carry a class that is required. */
function matches(
  { match, action }: PolicyRule, part: PartsLine, designator: string | null, places: readonly string[],
): boolean | string {
  const answers: (boolean | string)[] = []
  if (action.startsWith('require')) answers.push(part.kind === null ? 'its kind' : part.kind === 'capacitor')
  if (match.designators) answers.push(designator !== null && match.designators.includes(designator))
  if (match.where) answers.push(match.where.some(place => places.includes(place)))
  if (match.kind) answers.push(part.kind === null ? 'its kind' : match.kind.includes(part.kind))
  if (match.dielectric) answers.push(ofDielectric(match.dielectric, part))
  if (match.material) {
    answers.push(part.material === null ? ofMaterial(part) : part.material === match.material)
  }
  const { ratedVMin = 0, ratedVMax = Infinity } = match
  if (match.ratedVMin !== undefined || match.ratedVMax !== undefined) {
    const { ratedV } = part
    answers.push(ratedV === null ? 'its rated volts' : ratedV >= ratedVMin && ratedV <= ratedVMax)
  }
  if (answers.includes(false)) return false
  return answers.find(answer => typeof answer === 'string') ?? true
}

function ofDielectric(wanted: readonly string[], { kind, dielectrics: said }: PartsLine): boolean | string {
  if (kind !== null && kind !== 'capacitor') return false
  if (said.some(name => wanted.includes(name))) return true
  // A class for the mains says nothing of the material, but no part of such a class is an electrolytic.
  const isMade = said.some(name => !name.startsWith('class'))
  const couldBe = wanted.some(name => !name.startsWith('class') && !(said.length > 0 && polar.includes(name)))
  return isMade || !couldBe ? false : kind === null ? 'its kind' : 'its dielectric'
}
const polar = ['electrolytic', 'tantalum']

const semiconductors = ['diode', 'zener', 'bridge-rectifier', 'led', 'npn', 'pnp']
function ofMaterial({ kind }: PartsLine): boolean | string {
  return kind === null || semiconductors.includes(kind) ? 'silicon, germanium or selenium' : false
}

function policyRemarks(
  parts: readonly PartsLine[], policy: PartsPolicy, used: ReadonlySet<string>,
): string[] {
  const names = new Set(parts.flatMap(({ designators }) => designators))
  const missing = (list: readonly string[]): string[] => list.filter(name => !names.has(name))
  const strangers = [...new Set([
    ...Object.values(policy.places).flatMap(missing),
    ...policy.rules.flatMap(({ match: { designators = [] } }) => missing(designators)),
  ])]
  const placeless = placelessMains(parts, policy)
  const asks = policy.rules.some(({ match: { where } }) => where !== undefined)
  const isPlaced = Object.keys(policy.places).length > 0 || parts.some(({ where }) => where !== null)
  return [
    ...strangers.length > 0 ? [`named by the policy and not in the list: ${strangers.join(', ')}`] : [],
    ...asks && !isPlaced ? ['no part is said to sit anywhere, so no rule by place can match'] : [],
    ...asks && placeless.length > 0
      ? [`made for the mains by their marks, and not said to sit anywhere: ${placeless.join(', ')}`] : [],
    ...policy.rules.filter(({ name }) => !used.has(name))
      .map(({ name }) => `the rule ${name} matched no part`),
  ]
}

/** Capacitors marked for alternating voltage or with a mains class, of which nobody said where they sit. */
function placelessMains(parts: readonly PartsLine[], { places }: PartsPolicy): string[] {
  const placed = new Set(Object.values(places).flat())
  return parts.filter(({ kind, where, ratedForm, safetyClasses }) =>
    kind === 'capacitor' && where === null && (ratedForm === 'ac' || safetyClasses.length > 0))
    .flatMap(({ designators }) => designators).filter(name => !placed.has(name))
}
