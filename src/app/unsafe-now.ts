/** Everything that the record says may not be touched: at the rack, at the jig, on the stand. */
import type { BenchFile } from '../schema/bench.ts'
import type { UnsafePart } from '../schema/application.ts'
import type { Store } from '../schema/store.ts'
import { unsafeBehind } from './behind-cover.ts'
import { unsafeUnit } from './unit-left.ts'
import { unsettled } from './unsettled.ts'

/** Parts of the positions of this bench, by run or by run and person. */
export async function unsettledAt(
  store: Store, { bench, fixture }: BenchFile, by: Parameters<typeof unsettled>[3],
): Promise<UnsafePart[]> {
  return await unsettled(store, bench, fixture.positions.map(({ name }) => name), by)
}

/** Rejects where the record cannot be read. */
export async function unsafeNow(store: Store, bench: BenchFile): Promise<UnsafePart[]> {
  const found = await Promise.all(
    [unsettledAt(store, bench, 'run or person'), unsafeBehind(store), unsafeUnit(store)])
  return found.flat()
}
