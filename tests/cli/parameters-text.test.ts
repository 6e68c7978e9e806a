import { describe, expect, it } from 'vitest'
import { z } from 'zod'
import { parameterLines } from '../../src/cli/parameters-text.ts'

const lines = (schema: z.ZodType): string[] =>
  parameterLines({ parameters: z.toJSONSchema(schema, { io: 'input' }) })

describe('the parameters of a sequence', () => {
  it('are told with default, bounds and reason', () => {
    const [head, soak, target, count, kind] = lines(z.strictObject({
      soakS: z.number().min(60).max(86_400).default(3600).describe('At target: 1 h'),
      targetV: z.number().positive().optional(),
      count: z.int().min(1).default(3),
      kind: z.enum(['slow', 'fast']).default('slow'),
    }))
    expect(head).toMatch(/^--set +default +allowed +meaning$/)
    expect(soak).toMatch(/^soakS +3600 +60 and more, at most 86400 +At target: 1 h$/)
    expect(target).toMatch(/^targetV +– +above 0$/)
    expect(count).toMatch(/^count +3 +1 and more$/)
    expect(kind).toMatch(/^kind +"slow" +slow, fast$/)
  })

  it('are said to be none where there are none', () => {
    expect(lines(z.strictObject({}))).toEqual(['It has no parameters.'])
    expect(parameterLines({ parameters: {} })).toEqual(['It has no parameters.'])
  })
})
