/** A port whose answers the test writes down. It has no idea of any dialect. */
import { join } from 'node:path'
import { BenchError } from '../../src/base/errors.ts'
import {
  instrumentProfile, type InstrumentClass, type ProfileOf,
} from '../../src/schema/instrument-profile.ts'
import { loadFile } from '../../src/schema/read-file.ts'
import type { ScpiPort } from '../../src/scpi/port.ts'

export interface ScriptedPort extends ScpiPort {
  /** Everything sent, in order. */
  readonly sent: string[]
  /** Answer by query; a list is used up from the front, its last entry stays. */
  readonly answers: Record<string, string | string[]>
  /** Commands that the instrument refuses, with its words. */
  readonly refused: Record<string, string>
  readonly deadlines: (number | undefined)[]
  /** Data of blocks by query, in hexadecimal digits. */
  readonly blocks: Record<string, string>
}

export function scriptedPort(answers: Record<string, string | string[]>): ScriptedPort {
  let pending: string | null = null
  const port: ScriptedPort = {
    name: 'thing', sent: [], answers: {
      '*IDN?': 'Somebody,Thing,42,1.0', ...answers,
    }, refused: {}, deadlines: [], blocks: {},
    async query(command, options) {
      port.sent.push(command)
      port.deadlines.push(options?.deadlineMs)
      const answer = port.answers[command]
      if (answer === undefined) throw new BenchError(
        'LINK_TIMEOUT', 'no answer', { instrument: 'thing', command }
      )
      if (typeof answer === 'string') return answer
      return answer.length > 1 ? answer.shift()! : answer[0]!
    },
    async queryBlock(command, options) {
      port.sent.push(command)
      port.deadlines.push(options?.deadlineMs)
      const data = port.blocks[command]
      if (data === undefined) throw new BenchError('LINK_TIMEOUT', 'no answer', { instrument: 'thing', command })
      return Uint8Array.from(Buffer.from(data, 'hex'))
    },
    async write(command, options) {
      port.sent.push(command)
      if (port.refused[command] !== undefined) pending = port.refused[command]
      if (options?.check !== true || pending === null) return
      const got = pending
      pending = null
      throw new BenchError('INSTRUMENT_ERROR', 'refused', { instrument: 'thing', command, got })
    },
  }
  return port
}

export function shippedProfile<C extends InstrumentClass>(name: string, of: C): ProfileOf<C> {
  const profile = loadFile(
    join(import.meta.dirname, '../../profiles/instruments', `${name}.yaml`), instrumentProfile
  )
  if (profile.class !== of) throw new Error(`${name} is a ${profile.class}`)
  return profile as ProfileOf<C>
}

export const code = (expected: string): Error => Object.assign(new Error(), { code: expected })
