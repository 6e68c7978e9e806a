/** Goal: the whole table of state × input, so that no combination is left to chance. */
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import type { Exchange, LinkInput, LinkState, Step } from '../../src/scpi/exchange.ts'
import { step } from '../../src/scpi/exchange.ts'

const ask: Exchange = { command: 'VOLT?', expect: 'line', echo: false, recovery: false }
const tell: Exchange = { command: 'VOLT 1', expect: 'nothing', echo: false, recovery: false }
const block: Exchange = { command: 'DATA?', expect: 'block', echo: false, recovery: false }
const known: Exchange = { ...ask, command: '*ESE?', recovery: true, accepts: line => line === '7' }
const echoed = { ...tell, echo: true }

const states: Record<string, LinkState> = {
  down: { at: 'down' }, idle: { at: 'idle' }, suspect: { at: 'suspect' },
  echo: { at: 'echo', exchange: echoed }, answer: { at: 'answer', exchange: ask },
  answered: { at: 'answered', exchange: ask, answer: '1' },
}
const inputs: Record<string, LinkInput> = {
  up: { type: 'up' }, start: { type: 'start', exchange: ask }, 'start known': { type: 'start', exchange: known },
  line: { type: 'frame', frame: { kind: 'line', text: '2' } },
  'chunk-end': { type: 'chunk-end' }, timeout: { type: 'timeout' }, overflow: { type: 'overflow' },
  'pre-empt': { type: 'pre-empt' }, 'in-step': { type: 'in-step' }, down: { type: 'down' },
}

/** Next state, then effects; `=` is: unchanged and none. */
const table: Record<string, Record<string, string>> = {
  up: { down: 'suspect', idle: '=', suspect: '=', echo: '=', answer: '=', answered: '=' },
  start: {
    down: 'down fail:down', idle: 'answer send', suspect: 'suspect fail:out-of-step', echo: 'echo fail:busy',
    answer: 'answer fail:busy', answered: 'answered fail:busy',
  },
  'start known': {
    down: 'down fail:down', idle: 'answer send', suspect: 'answer send', echo: 'echo fail:busy',
    answer: 'answer fail:busy', answered: 'answered fail:busy',
  },
  line: {
    down: '=', idle: 'suspect stray', suspect: 'suspect stray', echo: 'echo stray', answer: 'answered',
    answered: 'suspect fail:surplus',
  },
  'chunk-end': { down: '=', idle: '=', suspect: '=', echo: '=', answer: '=', answered: 'idle resolve' },
  timeout: {
    down: '=', idle: '=', suspect: '=', echo: 'suspect fail:timeout', answer: 'suspect fail:timeout',
    answered: 'suspect fail:timeout',
  },
  overflow: {
    down: '=', idle: 'down close', suspect: 'down close', echo: 'down fail:overflow close',
    answer: 'down fail:overflow close', answered: 'down fail:overflow close',
  },
  'pre-empt': {
    down: '=', idle: 'suspect', suspect: '=', echo: 'suspect fail:abandoned', answer: 'suspect fail:abandoned',
    answered: 'suspect fail:abandoned',
  },
  'in-step': { down: '=', idle: '=', suspect: 'idle', echo: '=', answer: '=', answered: '=' },
  down: {
    down: '=', idle: 'down', suspect: 'down', echo: 'down fail:down', answer: 'down fail:down', answered: 'down fail:down',
  },
}

function said(before: LinkState, { state, effects }: Step): string {
  if (state.at === before.at && effects.length === 0) return '='
  return [state.at, ...effects.map(e => e.do === 'fail' ? `fail:${e.failure}` : e.do)].join(' ')
}

describe('the exchange machine', () => {
  for (const [input, row] of Object.entries(table)) {
    it(`answers ${input} in every state`, () => {
      expect(Object.keys(row)).toEqual(Object.keys(states))
      for (const [at, wanted] of Object.entries(row)) {
        expect(said(states[at]!, step(states[at]!, inputs[input]!)), `${at} × ${input}`).toBe(wanted)
      }
    })
  }

  it('covers every input', () => { expect(Object.keys(table).sort()).toEqual(Object.keys(inputs).sort()) })

  const line = (text: string): LinkInput => ({ type: 'frame', frame: { kind: 'line', text } })

  it('ends a command at once, and one with an echo when the echo is back', () => {
    expect(said(states.idle!, step(states.idle!, { type: 'start', exchange: tell }))).toBe('idle send resolve')
    const sent = step(states.idle!, { type: 'start', exchange: echoed })
    expect(said(states.idle!, sent)).toBe('echo send')
    const back = step(sent.state, line('VOLT 1'))
    expect(said(sent.state, back)).toBe('answered')
    expect(said(back.state, step(back.state, { type: 'chunk-end' }))).toBe('idle resolve')
  })

  it('passes over the question itself', () => {
    expect(said(states.answer!, step(states.answer!, line('VOLT?')))).toBe('=')
  })

  it('takes a known answer by its content and passes over all others, before and behind it', () => {
    const waiting: LinkState = { at: 'answer', exchange: known }
    expect(said(waiting, step(waiting, line('3')))).toBe('answer stray')
    const found = step(waiting, line('7'))
    expect(found.state.at).toBe('answered')
    expect(said(found.state, step(found.state, line('3')))).toBe('answered stray')
    expect(step(found.state, { type: 'chunk-end' }).state.at).toBe('suspect')
  })

  it('refuses a line for a block, a block for a line, and a block with something behind it', () => {
    const waiting: LinkState = { at: 'answer', exchange: block }
    const data = (head: string, tail: string): LinkInput =>
      ({ type: 'frame', frame: { kind: 'block', head, bytes: Uint8Array.of(1), tail } })
    expect(said(waiting, step(waiting, line('2')))).toBe('suspect fail:form')
    expect(said(states.answer!, step(states.answer!, data('', '')))).toBe('suspect fail:form')
    expect(said(waiting, step(waiting, data('', ';1')))).toBe('suspect fail:form')
    expect(said(waiting, step(waiting, data('1,', '')))).toBe('suspect fail:form')
    expect(said(waiting, step(waiting, data(' \0', '\r')))).toBe('answered')
    expect(said(waiting, step(waiting, data(':WAVEFORM:DATA ', '')))).toBe('answered')
  })

  it('settles each exchange exactly once, and never sends while one is open or the link is suspect', () => {
    fc.assert(fc.property(fc.array(fc.constantFrom(...Object.values(inputs), line('VOLT?'), line('7')), { maxLength: 60 }),
      sequence => {
        let state: LinkState = { at: 'down' }
        let open = 0
        for (const input of sequence) {
          const before: LinkState = state
          const { state: next, effects } = step(state, input)
          for (const effect of effects) {
            if (effect.do === 'send') {
              expect(open).toBe(0)
              expect(before.at === 'idle' || effect.exchange.recovery).toBe(true)
              open++
            }
            if (effect.do === 'resolve') open--
            if (effect.do === 'fail' && input.type !== 'start') open--
          }
          state = next
          const running = state.at === 'echo' || state.at === 'answer' || state.at === 'answered'
          expect(open).toBe(running ? 1 : 0)
        }
      }), { numRuns: 2000 })
  })
})
