/**
 * Takes every step, in order, whatever the ones before it did, and rejects with the first failure then: what
 * cannot be closed must not keep the rest open.
 */
export async function closeAll(steps: readonly (() => Promise<void> | void)[]): Promise<void> {
  const failures: unknown[] = []
  for (const step of steps) {
    try { await step() } catch (error) { failures.push(error) }
  }
  if (failures.length > 0) throw failures[0]
}
