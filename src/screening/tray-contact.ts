/** Whether a part lies still at a position of a tray: it was laid a while ago, so it does soon or never. */
import type { Clock } from '../base/clock.ts'
import type { Jig } from '../schema/jig.ts'
import { contactFor, lookAt } from './at-jig.ts'
import { emptyJig, seeContact, type Contact } from './contact.ts'
import type { ToProve } from './to-prove.ts'

/** So many looks and no more: one that moves yet is a poor contact. */
const looksMost = 12
/** Between two looks, ms. */
const everyMs = 50

export async function restsThere(
  jig: Jig, part: ToProve, clock: Clock,
): Promise<'still' | 'nothing seen' | 'not still'> {
  const rule = { ...contactFor(part, jig), settleMs: 0 }
  let contact: Contact = emptyJig
  for (let looks = 1; looks <= looksMost; looks++) {
    contact = seeContact(contact, await lookAt(jig, part, clock), rule)
    if (contact.is === 'still') return 'still'
    if (contact.is === 'empty' && looks >= rule.emptyLooks) return 'nothing seen'
    await jig.rest(everyMs)
  }
  return 'not still'
}
