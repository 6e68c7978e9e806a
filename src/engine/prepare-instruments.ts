/** Brings the instruments of the bench to the state that their profiles start from. */
import { BenchError } from '../base/errors.ts'
import type { Roles } from '../schema/roles.ts'

/**
 * At the start of the daemon and of every run: an instrument that lost its power since has forgotten
 * function, ranges and trigger. All roles, or those of `only`. Rejects LINK_OPEN, naming the first that
 * cannot be prepared.
 */
export async function prepareInstruments(roles: Roles, only?: readonly string[]): Promise<void> {
  for (const [name, instrument] of Object.entries(roles)) {
    if (only !== undefined && !only.includes(name)) continue
    await instrument.prepare().catch((error: unknown) => {
      throw new BenchError(
        'LINK_OPEN', `${name} could not be prepared: ${(error as Error).message}`, {}, error
      )
    })
  }
}
