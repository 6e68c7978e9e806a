/** The compiled safe-off step of one instrument, as the keeper holds it. */
import type { z } from 'zod'
import type { safeOff } from '../schema/profile-parts.ts'
import type { SafeOffStep } from '../schema/roles.ts'

export function safeOffOf(spec: z.infer<typeof safeOff>, afterwards: readonly string[] = []): SafeOffStep {
  const { commands, verify } = spec
  const more = afterwards.length === 0 ? {} : { afterwards }
  if (!verify) return { commands, ...more }
  const { query, safe, tolerance } = verify
  const check = tolerance === undefined ? { query, safe } : { query, safe, tolerance }
  return { commands, verify: check, ...more }
}
