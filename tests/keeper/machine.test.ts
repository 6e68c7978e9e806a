import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import {
  beatDueMs, initialKeeper, isPureQuery, stepKeeper, type KeeperInput, type KeeperMode, type KeeperState,
} from '../../src/keeper/machine.ts'
import type { SafeOffTable } from '../../src/keeper/table.ts'
import { report, table } from './sample.ts'

const run = (inputs: readonly [number, KeeperInput][], from: KeeperState = initialKeeper) => {
  let state = from
  const effects = []
  for (const [nowMs, input] of inputs) {
    const step = stepKeeper(state, input, nowMs)
    state = step.state
    effects.push(...step.effects)
  }
  return { state, effects }
}
const configure: KeeperInput = { type: 'configure', table, firstSafeOff: false }
const arm: KeeperInput = { type: 'arm', table, beatLimitMs: 300 }
const stop: KeeperInput = { type: 'stop', by: 'someone', reason: 'a smell' }
const done: KeeperInput = { type: 'safe-off-done', report }
const write = (
  command: string, link = 'psu'
): KeeperInput => ({ type: 'exchange', link, kind: 'write', command })
const query = (
  command: string, link = 'psu'
): KeeperInput => ({ type: 'exchange', link, kind: 'query', command })

const at: Record<KeeperMode, KeeperState> = {
  idle: run([[0, configure]]).state,
  armed: run([[0, configure], [0, arm], [0, write('OUTP:CLOS', 'relay')]]).state,
  safing: run([[0, configure], [0, arm], [0, stop]]).state,
  safe: run([[0, configure], [0, arm], [0, stop], [0, done]]).state,
}
const inputs: Record<string, KeeperInput> = {
  configure, arm, 'fresh beat': { type: 'beat', fresh: true }, 'stale beat': { type: 'beat', fresh: false },
  disarm: { type: 'disarm' }, reset: { type: 'reset' }, 'energising write': write('OUTP ON'),
  'set-up write': write('VOLT 0'), 'off write': write('OUTP OFF'), query: query('MEAS:VOLT?'), tick: { type: 'tick' },
  'refresh due': { type: 'refresh-due', link: 'relay' }, 'daemon gone': { type: 'daemon-gone' },
  malformed: { type: 'malformed', what: 'x' }, stop, 'energy link lost': { type: 'link-lost', link: 'psu' },
  'meter link lost': { type: 'link-lost', link: 'meter' }, 'safe-off done': done,
}
/** What each input does in each mode: the mode after it, and the effects by name. */
const expected: Record<string, Record<KeeperMode, string>> = {
  configure: { idle: 'idle accept', armed: 'armed refuse', safing: 'safing refuse', safe: 'safe refuse' },
  arm: { idle: 'armed accept mode', armed: 'armed refuse', safing: 'safing refuse', safe: 'safe refuse' },
  'fresh beat': { idle: 'idle', armed: 'armed', safing: 'safing', safe: 'safe' },
  'stale beat': { idle: 'idle', armed: 'armed', safing: 'safing', safe: 'safe' },
  disarm: { idle: 'idle accept', armed: 'idle accept mode', safing: 'safing accept', safe: 'safe accept' },
  reset: { idle: 'idle accept', armed: 'armed refuse', safing: 'safing refuse', safe: 'idle accept mode' },
  'energising write': {
    idle: 'idle refuse', armed: 'armed accept', safing: 'safing refuse', safe: 'safe refuse'
  },
  'set-up write': { idle: 'idle accept', armed: 'armed accept', safing: 'safing refuse', safe: 'safe refuse' },
  'off write': { idle: 'idle accept', armed: 'armed accept', safing: 'safing accept', safe: 'safe accept' },
  query: { idle: 'idle accept', armed: 'armed accept', safing: 'safing accept', safe: 'safe accept' },
  tick: { idle: 'idle', armed: 'armed', safing: 'safing', safe: 'safe' },
  'refresh due': { idle: 'idle', armed: 'armed refresh', safing: 'safing', safe: 'safe' },
  'daemon gone': everywhere(), malformed: everywhere(), stop: everywhere(),
  'energy link lost': { idle: 'idle', armed: 'safing safe-off mode', safing: 'safing', safe: 'safe' },
  'meter link lost': { idle: 'idle', armed: 'armed', safing: 'safing', safe: 'safe' },
  'safe-off done': { idle: 'idle', armed: 'armed', safing: 'safe mode', safe: 'safe' },
}
function everywhere(): Record<KeeperMode, string> {
  const off = 'safing safe-off mode'
  return { idle: off, armed: off, safing: 'safing', safe: off }
}

describe('the keeper machine', () => {
  for (const [name, input] of Object.entries(inputs)) {
    it(`does what the table says for: ${name}`, () => {
      for (const mode of ['idle', 'armed', 'safing', 'safe'] as const) {
        const { state, effects } = stepKeeper(at[mode], input, 10)
        expect([state.mode, ...effects.map(effect => effect.do)].join(' '), mode).toBe(expected[name]![mode])
      }
    })
  }

  it('trips when the heartbeat is exactly as old as its limit, and not a moment before', () => {
    expect(beatDueMs(at.armed)).toBe(300)
    expect(stepKeeper(at.armed, { type: 'tick' }, 299.999).state.mode).toBe('armed')
    expect(stepKeeper(at.armed, { type: 'tick' }, 300).state.mode).toBe('safing')
  })

  it('is fed by a fresh beat and not by a stale one', () => {
    const fed = run([[200, { type: 'beat', fresh: true }], [499, { type: 'tick' }]], at.armed)
    expect(fed.state.mode).toBe('armed')
    const stale = run([[200, { type: 'beat', fresh: false }], [300, { type: 'tick' }]], at.armed)
    expect(stale.state.mode).toBe('safing')
  })

  it('lets neither a late beat nor a write slip in before the tick', () => {
    const late = stepKeeper(at.armed, { type: 'beat', fresh: true }, 300)
    expect(late.state.mode).toBe('safing')
    const slipped = stepKeeper(at.armed, write('OUTP ON'), 300)
    expect(slipped.effects.map(effect => effect.do)).toEqual(['safe-off', 'mode', 'refuse'])
  })

  it('starts with a safe-off when it replaces a dead keeper', () => {
    const { effects } = stepKeeper(initialKeeper, { type: 'configure', table, firstSafeOff: true }, 0)
    expect(effects.map(effect => effect.do)).toEqual(['accept', 'safe-off', 'mode'])
    expect(effects[1]).toMatchObject({ table })
  })

  it('refuses to arm with a heartbeat limit that watches nothing', () => {
    for (const beatLimitMs of [0, -1, NaN, Infinity]) {
      expect(stepKeeper(at.idle, { type: 'arm', table, beatLimitMs }, 0).state.mode).toBe('idle')
    }
  })

  it('lets a line that ends a watch follow a safe-off, and not while that is under way', () => {
    const does = (mode: KeeperMode, command: string) =>
      stepKeeper(at[mode], write(command), 0).effects.map(effect => effect.do).join()
    expect(does('safing', 'WATC OFF')).toBe('refuse')
    expect(does('safe', 'WATC OFF')).toBe('accept')
    expect(does('safe', 'WATC ON')).toBe('refuse')
    expect(does('safe', 'WATC OFF;OUTP ON')).toBe('refuse')
  })

  it('only asks before it has a table', () => {
    const first = (input: KeeperInput) => stepKeeper(initialKeeper, input, 0).effects.map(effect => effect.do)
    for (const input of [write('VOLT 0'), write('OUTP OFF'), write('OUTP ON'), query('OUTP ON;*OPC?')]) {
      expect(first(input)).toEqual(['refuse'])
    }
    expect(first(query('*IDN?'))).toEqual(['accept'])
  })

  it('sees what energises in a line of several parts, in any case, and behind a query', () => {
    const does = (input: KeeperInput) => stepKeeper(at.idle, input, 0).effects.map(effect => effect.do).join()
    for (const line of ['VOLT 0;OUTP ON', ':outp on', ' OUTP 1', 'VOLT?;OUTP ON', 'OUTP OFF;OUTP ON']) {
      expect(does(write(line)), line).toBe('refuse')
      expect(does(query(line)), line).toBe('refuse')
    }
    for (const line of ['outp off', 'OUTP 0', 'OUTP?', 'OUTP:PROT:CLE', 'VOLT 450;CURR 0.1']) {
      expect(does(write(line)), line).toBe('accept')
    }
    expect(does(write('OUTP ON', 'board'))).toBe('accept')
  })

  it('knows a query from a command that hides behind one', () => {
    for (
      const good of ['*IDN?', 'MEAS:VOLT? (@1)', 'VOLT?;CURR?', ' OUTP? ']
    ) expect(isPureQuery(good), good).toBe(true)
    for (
      const bad of ['OUTP ON;VOLT?', 'VOLT?\nOUTP ON', 'VOLT?;OUTP ON', 'OUTP ON', '', 'VOLT 5;?', 'SEND "A?']
    ) {
      expect(isPureQuery(bad), bad).toBe(false)
    }
  })
})

describe('the refresh of a hold-in contact', () => {
  const due: KeeperInput = { type: 'refresh-due', link: 'relay' }
  const refreshes = (told: KeeperInput[], from: KeeperState = initialKeeper): number =>
    run([...told, due].map((input): [number, KeeperInput] => [10, input]), from)
      .effects.filter(effect => effect.do === 'refresh').length
  const close = write('OUTP:CLOS', 'relay')
  const open = write('OUTP:OPEN', 'relay')

  it('waits until the contact is told to be closed, in any spelling', () => {
    expect(refreshes([configure, arm])).toBe(0)
    expect(refreshes([configure, arm, close])).toBe(1)
    expect(refreshes([configure, arm, write(':outp:clos', 'relay')])).toBe(1)
  })
  it('ends when the contact is opened on purpose, and begins again when it is closed again', () => {
    expect(refreshes([open], at.armed)).toBe(0)
    expect(refreshes([open, close], at.armed)).toBe(1)
  })
  it('minds no other line and no other link', () => {
    expect(refreshes([query('OUTP:STAT?', 'relay'), write('*CLS', 'relay')], at.armed)).toBe(1)
    expect(refreshes([write('OUTP:OPEN', 'psu')], at.armed)).toBe(1)
    expect(refreshes([configure, arm, write('OUTP:CLOS', 'psu'), query('OUTP:CLOS', 'relay')])).toBe(0)
  })
  it('does not go on over a disarming: what was closed before may have dropped since', () => {
    expect(refreshes([{ type: 'disarm' }, arm], at.armed)).toBe(0)
  })
})

const other: SafeOffTable = { ...table, refreshes: [] }
const anyInput: fc.Arbitrary<KeeperInput> = fc.oneof(
  fc.constantFrom(...Object.values(inputs)),
  fc.constantFrom<KeeperInput>(
    { type: 'arm', table: other, beatLimitMs: 50 }, write('VOLT 450'), write('OUTP OFF', 'relay'),
    query('OUTP ON;*OPC?'), write('OUTP:HOLD', 'relay'), write('OUTP OFF\nOUTP ON')),
)
const anyHistory = fc.array(fc.tuple(fc.integer({ min: 0, max: 120 }), anyInput), { maxLength: 80 })
const off = new Set(['OUTP OFF', 'OUTP:OPEN', 'ROUT:REL'])

describe('any history', () => {
  it('lets no energising write and no refresh leave between the start of a safe-off and the reset', () => {
    fc.assert(fc.property(anyHistory, history => {
      let state = initialKeeper
      let nowMs = 0
      let stopped = false
      for (const [stepMs, input] of history) {
        nowMs += stepMs
        const step = stepKeeper(state, input, nowMs)
        for (const effect of step.effects) {
          if (effect.do === 'safe-off') stopped = true
          if (effect.do === 'mode' && effect.mode === 'idle') stopped = false
          if (!stopped) continue
          expect(effect.do).not.toBe('refresh')
          if (effect.do === 'accept' && input.type === 'exchange') {
            if (input.kind === 'write') expect(off).toContain(input.command)
            else expect(isPureQuery(input.command)).toBe(true)
          }
        }
        state = step.state
      }
    }), { numRuns: 2000 })
  })

  it('runs one safe-off at a time, and always one when the daemon goes', () => {
    fc.assert(fc.property(anyHistory, history => {
      let state = initialKeeper
      let nowMs = 0
      let running = 0
      for (const [stepMs, input] of [...history, [0, { type: 'daemon-gone' }] as [number, KeeperInput]]) {
        nowMs += stepMs
        const step = stepKeeper(state, input, nowMs)
        if (input.type === 'safe-off-done' && state.mode === 'safing') running = 0
        running += step.effects.filter(effect => effect.do === 'safe-off').length
        expect(running).toBeLessThanOrEqual(1)
        state = step.state
      }
      expect(running).toBe(1)
    }), { numRuns: 1000 })
  })

  it('accepts no energising line but while armed', () => {
    fc.assert(fc.property(anyHistory, history => {
      let state = initialKeeper
      let nowMs = 0
      for (const [stepMs, input] of history) {
        nowMs += stepMs
        const step = stepKeeper(state, input, nowMs)
        const energises = input.type === 'exchange' && /OUTP ON/.test(input.command)
        if (energises && step.state.mode !== 'armed') {
          expect(step.effects.map(effect => effect.do)).toContain('refuse')
        }
        state = step.state
      }
    }), { numRuns: 1000 })
  })

  it('lets every exchange pass, and the refresh too, while beats come in time', () => {
    fc.assert(fc.property(fc.array(fc.integer({ min: 0, max: 299 }), { maxLength: 50 }), gaps => {
      let state = at.armed
      let nowMs = 0
      for (const gapMs of gaps) {
        nowMs += gapMs
        state = stepKeeper(state, { type: 'beat', fresh: true }, nowMs).state
        expect(stepKeeper(state, write('VOLT 450'), nowMs).effects).toEqual([{ do: 'accept' }])
        expect(stepKeeper(state, { type: 'refresh-due', link: 'relay' }, nowMs).effects)
          .toEqual([{ do: 'refresh', link: 'relay', command: 'OUTP:HOLD' }])
      }
      expect(state.mode).toBe('armed')
    }))
  })
})
