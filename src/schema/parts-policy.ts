/** What is to be done with which parts of a list, by rule. A policy file in YAML or JSON. */
import { z } from 'zod'
import { expandDesignators } from './designators.ts'
import { dielectrics, partKinds } from './parts-list.ts'

export const policyActions = [
  'prove', 'replace', 'replace-and-prove-new', 'require class-x', 'require class-y', 'leave',
] as const
export type PolicyAction = (typeof policyActions)[number]

const listOf = <T extends z.ZodType>(one: T) => z.union([one.transform(item => [item]), z.array(one).min(1)])

/** A list of designators as people write it, or as a list of such texts; expanded. */
const designatorText = z.union([z.string(), z.array(z.string()).min(1)])
const designators = designatorText.transform((given, context): string[] => {
  const { names, problems } = expandDesignators([given].flat().join(', '))
  for (const { expected, got } of problems) {
    context.addIssue({ code: 'custom', message: `${expected}, not ${got}`, input: given })
  }
  if (names.length === 0 && problems.length === 0) {
    context.addIssue({ code: 'custom', message: 'at least one designator', input: given })
  }
  return [...names]
})

const slug = /^[a-z0-9][a-z0-9-]{0,63}$/
const place = z.string().regex(slug, 'a place like across-mains: small letters and hyphens')
const ruleName = z.string().regex(slug, 'small letters, digits and hyphens')

/** All that is named must hold; of a list in one key any one. */
const match = z.strictObject({
  kind: listOf(z.enum(partKinds)).optional(),
  dielectric: listOf(z.enum(dielectrics)).optional(),
  material: z.enum(['silicon', 'germanium', 'selenium']).optional(),
  ratedVMin: z.number().positive().optional(),
  ratedVMax: z.number().positive().optional(),
  designators: designators.optional(),
  where: listOf(place).optional(),
}).refine(keys => Object.keys(keys).length > 0, 'at least one thing to match by')

const policyRule = z.strictObject({
  name: ruleName,
  match,
  action: z.enum(policyActions),
  reason: z.string().min(3).max(500),
  /** Names of rules that give way to this one where both match. */
  over: listOf(ruleName).optional(),
})
export type PolicyRule = z.infer<typeof policyRule>

type Ranked = readonly { readonly name: string; readonly over?: readonly string[] | undefined }[]
/** Whether following `over` from a rule leads back to it; then each would give way and none decide. */
function isUnderItself(rules: Ranked, name: string): boolean {
  const overOf = (one: string): readonly string[] => rules.find(rule => rule.name === one)?.over ?? []
  const seen = new Set<string>()
  const open = overOf(name).filter(other => other !== name)
  for (let next = open.pop(); next !== undefined; next = open.pop()) {
    if (next === name) return true
    if (!seen.has(next)) open.push(...overOf(next))
    seen.add(next)
  }
  return false
}

export const partsPolicy = z.strictObject({
  policy: ruleName,
  note: z.string().max(2000).optional(),
  /** Where parts sit, for lists without such a column. */
  places: z.record(place, designators).default({}),
  rules: z.array(policyRule).min(1).max(200),
  otherwise: z.strictObject({
    action: z.enum(['prove', 'leave']), reason: z.string().min(3).max(500),
  }),
}).superRefine(({ rules }, context) => {
  rules.forEach(({ name, over = [], match: { ratedVMin = 0, ratedVMax = Infinity } }, i) => {
    const tell = (key: string, message: string): void => {
      context.addIssue({ code: 'custom', path: ['rules', i, key], message, input: rules })
    }
    if (rules.findIndex(rule => rule.name === name) !== i) tell('name', 'each rule a name of its own')
    for (const other of over) {
      const isKnown = other !== name && rules.some(rule => rule.name === other)
      if (!isKnown) tell('over', `another rule, not ${other}`)
    }
    if (isUnderItself(rules, name)) tell('over', 'a rule that is not under itself by way of others')
    if (ratedVMin > ratedVMax) tell('match', 'ratedVMin no larger than ratedVMax')
  })
})
export type PartsPolicy = z.infer<typeof partsPolicy>
