/** Brings every instrument of the bench to the state that its profile starts from. */
import { BenchError } from '../base/errors.ts'
import type { ComposedBench } from './compose.ts'

/**
 * At the start of the daemon and before every run: an instrument that lost its power since has forgotten
 * function, ranges and trigger. Rejects LINK_OPEN, naming the first role that cannot be prepared.
 */
export async function prepareInstruments({ roles }: Pick<ComposedBench, 'roles'>): Promise<void> {
  for (const [name, instrument] of Object.entries(roles)) {
    await instrument.prepare().catch((error: unknown) => {
      throw new BenchError(
        'LINK_OPEN', `${name} could not be prepared: ${(error as Error).message}`, {}, error
      )
    })
  }
}
