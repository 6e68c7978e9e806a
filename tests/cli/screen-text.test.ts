/** What a session says, in lines that need nothing beside them. */
import { expect, it } from 'vitest'
import { isCall, screenStatusLine, toldLine } from '../../src/cli/screen-text.ts'
import { askingR1 } from '../api/fake-application.ts'

it.each([
  ['R1', 'R1', 'Put in R1', true], ['standard S1', 'S1', 'Put in standard S1', true],
  ['the shorting wire across 1 and 2', 'shorting wire', 'Put in the shorting wire across 1 and 2', true],
  ['leave the jig empty', 'empty jig', 'leave the jig empty', false],
  ['turn the shaft', 'RV1', 'RV1: turn the shaft', false],
])('says "%s" of %s as "%s"', (text, about, line, call) => {
  const told = { tone: 'ask' as const, text, about }
  expect([toldLine(told), isCall(told)]).toEqual([line, call])
})

it('says of the empty jig what hands do, never that it is put in', () => {
  const line = (stands: 'clearing' | 'asking' | 'measuring'): string => screenStatusLine({ ...askingR1, asked: 'empty jig', stands })
  expect([line('clearing'), line('asking'), line('measuring')]).toEqual([
    'empty jig: take out what lies in the jig | none through, 2 left',
    'empty jig: take out what lies in the jig, or measure | none through, 2 left', 'empty jig: measuring | none through, 2 left',
  ])
})
