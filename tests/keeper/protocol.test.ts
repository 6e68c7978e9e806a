import { mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { BenchError } from '../../src/base/errors.ts'
import { KeeperProcess } from '../../src/keeper/keeper-process.ts'
import { asHotFrame, asOrder, packError, unpackError, type Reply } from '../../src/keeper/protocol.ts'
import { stopPath } from '../../src/keeper/stop-path.ts'
import { FakeInstrument } from './fake-instrument.ts'
import { table } from './sample.ts'

describe('the keeper\'s frames', () => {
  it('are taken when they are right', () => {
    for (
      const frame of [['b', 0], ['b', 1], ['q', 1, 'psu', 'VOLT?', 0], ['w', 2, 'psu', 'VOLT 5', 100, -1]]
    ) {
      expect(asHotFrame(frame)).toBe(frame)
    }
    expect(asOrder({ do: 'arm', id: 1, table, beatLimitMs: 300 })).toMatchObject({ do: 'arm', table })
    expect(asOrder({ do: 'reset', id: 1 })).toEqual({ do: 'reset', id: 1 })
  })

  it('arm with no heartbeat limit beyond a minute', () => {
    expect(asOrder({ do: 'arm', id: 1, table, beatLimitMs: 60_000 })).toMatchObject({ do: 'arm' })
    expect(asOrder({ do: 'arm', id: 1, table, beatLimitMs: 60_001 })).toContain('beatLimitMs')
  })

  it('are refused when anything is missing, too much or of another kind', () => {
    for (const frame of [
      [], ['b'], ['b', true], ['b', 2], ['b', 1, 1], [
        'q', '1', 'psu', 'V?', 0
      ], ['q', 1, 'psu', 'V?'], ['q', 1, 2, 'V?', 0],
      ['q', 1, 'psu', null, 0], ['q', 1, 'psu', 'V?', -1], ['w', 1, 'psu', 'V', 0], ['x', 1, 'psu', 'V', 0],
    ]) expect(asHotFrame(frame), JSON.stringify(frame)).toBeNull()
    for (const raw of [
      null, 'arm', 7, {}, { do: 'arm' }, {
        do: 'arm', id: 1, table, beatLimitMs: 0
      }, { do: 'reset', id: 1, extra: 1 },
      { do: 'arm', id: 1, table: { phases: [{ gapMs: 1e9, steps: [] }], refreshes: [], energising: [] }, beatLimitMs: 300 },
      { do: 'arm', id: 1, table: {
        phases: [], refreshes: [{ link: 'a', command: '', everyMs: 1 }], energising: []
      }, beatLimitMs: 300 },
      { do: 'arm', id: 1, table: { phases: [], refreshes: [] }, beatLimitMs: 300 },
      // Limits too short to be a time would be watched without end.
      { do: 'arm', id: 1, table, beatLimitMs: 1e-292 },
      { do: 'arm', id: 1, table: { ...table, refreshes: [{ ...table.refreshes[0]!, everyMs: 1e-292 }] }, beatLimitMs: 300 },
    ]) expect(typeof asOrder(raw), JSON.stringify(raw)).toBe('string')
  })

  it('carry an error across as it was', () => {
    const error = new BenchError(
      'READ_BACK', 'did not take', { instrument: 'psu', expected: '5', got: '4', elapsedMs: 3 }
    )
    const back = unpackError(JSON.parse(JSON.stringify(packError(error))) as ReturnType<typeof packError>)
    expect(back.toJSON()).toEqual(error.toJSON())
  })

  it('never throw, whatever comes', () => {
    fc.assert(fc.property(fc.anything(), raw => {
      if (Array.isArray(raw)) asHotFrame(raw)
      else asOrder(raw)
    }), { numRuns: 1000 })
  })
})

describe('a keeper process', () => {
  it('makes the bench safe at the first message that it does not understand', async () => {
    for (const bad of [['q', 'one', 'psu', 'V?', 0], { do: 'arms' }, 'hello', { do: 'start' }]) {
      const folder = mkdtempSync(join(tmpdir(), 'keeper-'))
      const instrument = new FakeInstrument()
      const replies: Reply[] = []
      const settings = { deadlineMs: 1000, frameBytesMax: 4096, errorQueue: null, quietMs: 5 }
      const keeper = await KeeperProcess.start({
        do: 'start', links: [{ name: 'psu', url: await instrument.url(), settings }], dataFolder: folder,
        clock: { kind: 'real' },
      }, reply => replies.push(reply), () => {})
      const psuTable = {
        phases: [{ gapMs: 0, steps: [table.phases[0]!.steps[1]!] }], refreshes: [], energising: [],
      }
      keeper.onMessage({ do: 'configure', id: 8, table: psuTable, firstSafeOff: false })
      keeper.onMessage(['w', 7, 'psu', 'VOLT 5', 0, -1])
      await instrument.heard('VOLT 5')
      expect(keeper.host.mode).toBe('idle')
      keeper.onMessage(bad)
      expect(keeper.host.mode).toBe('safing')
      await instrument.heard('OUTP OFF')
      await keeper.end(keeper.host.safeOff('the test ends', 'the test'))
      expect(replies).toContainEqual(['a', 7, null])
      instrument.close()
      rmSync(folder, { recursive: true })
    }
  })
})

describe('the path of the stop socket', () => {
  it('is in the data folder, or short where that is too long, or a pipe on Windows', () => {
    expect(stopPath('/data', 'linux')).toBe('/data/keeper.sock')
    const long = `/${'x'.repeat(120)}`
    expect(stopPath(long, 'linux').length).toBeLessThan(100)
    expect(stopPath(long, 'linux')).not.toBe(stopPath(`${long}y`, 'linux'))
    expect(stopPath('/data', 'win32')).toMatch(/^\\\\\.\\pipe\\nightbench-keeper-[0-9a-f]{16}$/)
  })
})
