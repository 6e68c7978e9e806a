/** Goal: the keeper's log never grows for ever, and the last safe-off is never lost to that. */
import { existsSync, mkdtempSync, readFileSync, rmSync, statSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { VirtualClock } from '../../src/base/clock.ts'
import { keeperLog } from '../../src/keeper/log.ts'

let folder: string
let path: string
const clock = new VirtualClock()
beforeEach(() => { folder = mkdtempSync(join(tmpdir(), 'log-')); path = join(folder, 'keeper.log') })
afterEach(() => { rmSync(folder, { recursive: true, force: true }) })

const entries = (file: string): { what: string; reason?: string; n?: number }[] =>
  readFileSync(file, 'utf8').trimEnd().split('\n').map(line => JSON.parse(line) as { what: string })

describe('the keeper\'s log', () => {
  it('keeps two files of bounded size however much is written, and the last safe-off in the newer one', () => {
    const log = keeperLog(path, clock, 2000)
    log('safe-off', { reason: 'an older one' })
    log('safe-off', { reason: 'the last one' })
    for (let n = 0; n < 500; n++) {
      log('mode', { n, mode: 'armed' })
      expect(statSync(path).size).toBeLessThanOrEqual(2000)
      expect(entries(path).filter(({ what }) => what === 'safe-off').at(-1)!.reason).toBe('the last one')
    }
    expect(statSync(`${path}.1`).size).toBeLessThanOrEqual(2000)
    const told = [...entries(`${path}.1`), ...entries(path)].flatMap(({ n }) => n ?? [])
    expect(told.at(-1)).toBe(499)
    expect(told).toEqual(told.map((_, i) => told[0]! + i))
  })

  it('turns over what an earlier keeper wrote, torn lines and all', () => {
    const torn = '{"wallMs":2,"what":"safe-off","reason":"tor'
    writeFileSync(path, `{"wallMs":1,"what":"safe-off","reason":"whole"}\n${'x'.repeat(300)}\n${torn}\n`)
    keeperLog(path, clock, 200)('start', {})
    expect(entries(path).map(({ what, reason }) => [what, reason]))
      .toEqual([['safe-off', 'whole'], ['start', undefined]])
  })

  it('loses what it cannot write, and goes on', () => {
    const log = keeperLog(join(folder, 'none', 'keeper.log'), clock)
    log('start', {})
    expect(existsSync(join(folder, 'none'))).toBe(false)
  })
})
