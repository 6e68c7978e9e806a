/** Compares what answers at an address with what the bench file says is there. */
import type { InstrumentCheck } from '../schema/application.ts'
import type { ComposedBench } from './compose.ts'
import type { LoadedBench } from './files.ts'

export async function checkIdentity(bench: LoadedBench, composed: ComposedBench, name: string): Promise<InstrumentCheck> {
  const entry = bench.file.instruments[name]
  if (!entry) return { name, url: '', profile: '', identity: null, matches: false, problem: 'not in the bench file' }
  const { url, profile, identity: expected } = entry
  try {
    const session = composed.sessions.get(name)
    if (session) await session.connect()
    const identity = await composed.ports.get(name)!.query('*IDN?')
    const matches = identity.trim() === expected.trim()
    return { name, url, profile, identity, matches, problem: matches ? null : `expected ${expected}` }
  } catch (error) {
    return { name, url, profile, identity: null, matches: false, problem: (error as Error).message }
  }
}
