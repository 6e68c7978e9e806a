/**
 * Names for the bits of the IEEE 488.2 status byte and event register, and of the SCPI
 * supply condition. Pure.
 */

/** Bits 0 and 1 are the maker's own. */
export const statusByteBits: Readonly<Record<number, string>> = {
  2: 'error-queue', 3: 'questionable', 4: 'message-available', 5: 'event', 6: 'service-request',
  7: 'operation',
}

export const eventBits: Readonly<Record<number, string>> = {
  0: 'operation-complete', 1: 'request-control', 2: 'query-error', 3: 'device-error', 4: 'execution-error',
  5: 'command-error', 6: 'user-request', 7: 'power-on',
}

/** The set bits of `value` by name, lowest first; a bit without a name is `bit N`. */
export function setBits(value: number, names: Readonly<Record<number, string>>): string[] {
  const found: string[] = []
  for (let bit = 0; bit < 16; bit++) if ((value >> bit) & 1) found.push(names[bit] ?? `bit ${bit}`)
  return found
}

export type SupplyMode = 'constant-voltage' | 'constant-current' | 'unregulated' | 'off'

/**
 * What the QUEStionable condition says of a supply that keeps to the SCPI class: the quantity that is *not*
 * held is questionable, so bit 1 (current) set means constant voltage and is normal. Many supplies do not
 * keep to it: only for a profile that says so.
 */
export function scpiSupplyMode(questionable: number): SupplyMode {
  const modes: readonly SupplyMode[] = ['off', 'constant-current', 'constant-voltage', 'unregulated']
  return modes[questionable & 3]!
}
