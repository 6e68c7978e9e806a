/** Values that JSON allows and comparisons choke on. */
import { describe, expect, it } from 'vitest'
import { z } from 'zod'
import { parseWith } from '../../src/schema/read-file.ts'

describe('a value that cannot even be compared', () => {
  it.each(['{"length":[{"toString":0}]}', '{"length":{"valueOf":1,"toString":1}}'])('is refused in words: %s', json => {
    const shape = z.strictObject({ names: z.array(z.string()).min(1).max(100) })
    const parsed = parseWith(shape, { names: JSON.parse(json) as unknown }, { file: 'body' })
    expect(parsed).toMatchObject({ ok: false, problems: [{ file: 'body' }] })
  })
})
