/** What is told of a part that may be charged when a session ends otherwise than in order. */
import { formatSi } from '../base/format.ts'

export const maybeCharged = (volts: number): string =>
  `what lies in the jig may be charged to ${formatSi(volts, 'V')}: discharge it through a resistor, `
    + 'and measure that, before anything else'
export const maybeChargedBehind = (part: string, volts: number): string =>
  `NOT SAFE TO TOUCH: ${part} may be charged to ${formatSi(volts, 'V')} behind the cover, which stays `
    + 'locked: wait for the bleeder, acknowledge, and screen again; the cover is freed once that part is '
    + 'seen to be there, and dead. Prove dead before touching'
