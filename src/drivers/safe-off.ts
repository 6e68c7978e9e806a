/** The compiled safe-off step of one instrument, as the keeper holds it. */
import type { z } from 'zod'
import type { safeOff } from '../schema/profile-parts.ts'
import type { SafeOffStep } from '../schema/roles.ts'

export function safeOffOf(spec: z.infer<typeof safeOff>): SafeOffStep {
  const { commands, verify } = spec
  if (!verify) return { commands }
  const { query, safe, tolerance } = verify
  return { commands, verify: tolerance === undefined ? { query, safe } : { query, safe, tolerance } }
}
