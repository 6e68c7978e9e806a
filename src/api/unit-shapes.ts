/** Findings of a unit as the API sends them: numbers that there are none of are null. */
import { z } from 'zod'
import { claimEnds } from '../schema/claims.ts'
import { figureQuantities, figureUnits } from '../schema/figure.ts'
import { curveNames } from '../schema/unit-findings.ts'

const si = z.number().nullable()
const measured = z.strictObject({ value: si, u: si })
const conditions = z.record(z.string(), z.unknown()).describe('What it was measured under, SI units')

const figure = z.strictObject({
  quantity: z.enum(figureQuantities), channel: z.string().nullable(), value: si,
  unit: z.enum([...new Set(Object.values(figureUnits))]), u: si,
  bound: z.enum(['at most', 'at least']).optional().describe('All that the bench could tell'),
  conditions, notes: z.array(z.string()),
})

const verdict = z.strictObject({
  words: z.string(), end: z.enum(claimEnds), margin: si, pConform: si, figures: z.array(figure),
  reason: z.string(),
  claim: z.strictObject({
    quantity: z.enum(figureQuantities), least: si.optional(), most: si.optional(), conditions,
    channel: z.string().optional(),
  }),
})

const axis = z.strictObject({
  label: z.string(), unit: z.string(), scale: z.enum(['linear', 'log']), values: z.array(si),
})

const burnIn = z.strictObject({
  countedS: si, askedS: si, wallS: si, switchings: z.number().int(),
  lost: z.array(z.strictObject({ why: z.string(), seconds: si })),
  drifts: z.array(z.strictObject({
    of: z.string(), unit: z.string(), start: measured, end: measured, change: si, u: si, hours: si,
  })),
  warmth: z.array(z.strictObject({
    place: z.string(), isSteady: z.boolean(), steadyAtS: si, celsius: si, u: si, remainingK: si,
    remainingU: si.optional(), rule: z.string(),
  })),
  says: z.string(),
})

export const unitFindingsShape = z.strictObject({
  figures: z.array(figure), claims: z.array(verdict),
  curves: z.array(z.strictObject({
    name: z.enum(curveNames), channel: z.string().nullable(), x: axis, y: axis, under: z.string(),
  })),
  left: z.array(z.string()), burnIn: burnIn.optional(),
})
