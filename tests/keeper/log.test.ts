/** Goal: the keeper's log never grows for ever, and the last safe-off is never lost to that. */
import { execFileSync, spawn } from 'node:child_process'
import { existsSync, mkdirSync, mkdtempSync, readFileSync, rmdirSync, rmSync, statSync, writeFileSync } from 'node:fs'
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

  it('counts what it could not write in the next entry that it can', () => {
    const log = keeperLog(path, clock)
    mkdirSync(path)
    log('start', {})
    log('mode', {})
    rmdirSync(path)
    log('mode', {})
    log('mode', {})
    expect(entries(path)).toMatchObject([{ what: 'mode', lostBefore: 2 }, { what: 'mode' }])
    expect(entries(path)[1]).not.toHaveProperty('lostBefore')
  })

  it('begins a line of its own where a full disk tore the last one', () => {
    writeFileSync(path, '{"wallMs":1,"what":"sta')
    keeperLog(path, clock)('start', {})
    expect(JSON.parse(readFileSync(path, 'utf8').split('\n')[1]!)).toMatchObject({ what: 'start' })
  })

  it.skipIf(process.platform === 'win32')('waits for nobody where a pipe stands, and writes nothing into it', () => {
    const opened = join(folder, 'opened')
    execFileSync('mkfifo', [path])
    // Opens it for the one that would wait.
    const reader = spawn('sh', ['-c', 'sleep 3; : > "$1"; read line < "$0"', path, opened], { stdio: 'ignore' })
    try {
      keeperLog(path, clock)('start', {})
    } finally {
      reader.kill()
    }
    expect(existsSync(opened)).toBe(false)
  })
})
