/** Cover and presence, as they are asked for before energy. */
import { BenchError } from '../base/errors.ts'
import type { Interlock } from '../schema/roles.ts'

type Read = Awaited<ReturnType<Interlock['read']>>

/** Where the bench has a key or button, it must be held; a bench without one trusts its own terminal. */
export async function refuseWithoutPresence(interlock: Interlock | undefined): Promise<void> {
  if (interlock) refuseUnlessPresent(await interlock.read())
}

/** REFUSED unless the cover is closed and somebody is there; a bench without the input has nothing to ask. */
export async function refuseUnlessClosed(interlock: Interlock | undefined): Promise<void> {
  if (!interlock) return
  const read = await interlock.read()
  refuseIfOpen(read)
  refuseUnlessPresent(read)
}

/** The same where nobody need be there. */
export async function refuseUnlessCovered(interlock: Interlock | undefined): Promise<void> {
  if (interlock) refuseIfOpen(await interlock.read())
}

function refuseIfOpen({ coverClosed }: Read): void {
  if (coverClosed) return
  throw new BenchError('REFUSED', 'the cover is open', { expected: 'cover closed and locked', got: 'open' })
}

function refuseUnlessPresent({ present }: Read): void {
  if (present) return
  throw new BenchError('REFUSED', 'nobody confirmed presence at the bench', {
    expected: 'key or button at the bench', got: 'neither',
  })
}
