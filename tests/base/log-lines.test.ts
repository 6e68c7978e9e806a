/** Goal: a log that cannot be written costs lines, and nothing else. */
import { execFileSync } from 'node:child_process'
import { closeSync, constants, existsSync, mkdtempSync, openSync, readFileSync, readSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { LogLines } from '../../src/base/log-lines.ts'
import { makeLog } from '../../src/base/log.ts'

let folder: string
let file: number
beforeEach(() => { folder = mkdtempSync(join(tmpdir(), 'lines-')) })
afterEach(() => { closeSync(file); rmSync(folder, { recursive: true }) })

describe('the lines of the log', () => {
  it('are written at once', () => {
    file = openSync(join(folder, 'log'), 'w')
    makeLog('info', new LogLines(file)).info('one')
    expect(JSON.parse(readFileSync(join(folder, 'log'), 'utf8'))).toMatchObject({ level: 'info', msg: 'one' })
  })

  it.skipIf(!existsSync('/dev/full'))('that find the disk full are counted, and raise nothing', () => {
    file = openSync('/dev/full', 'w')
    const lines = new LogLines(file)
    const log = makeLog('info', lines)
    for (let i = 0; i < 2000; i++) log.error({ err: new Error('no room') }, 'x'.repeat(100))
    expect(lines.lost).toBeGreaterThan(1000)
    expect(lines.lost).toBeLessThan(2000)
  })

  it.skipIf(process.platform === 'win32')('wait where a pipe takes no more, go on whole when it does, and say how many were lost', () => {
    const path = join(folder, 'pipe')
    execFileSync('mkfifo', [path])
    file = openSync(path, constants.O_RDWR | constants.O_NONBLOCK)
    const lines = new LogLines(file)
    const given = 4000
    for (let i = 0; i < given; i++) lines.write(`{"i":${i},"text":"${'x'.repeat(60)}"}\n`)
    const { lost } = lines
    expect(lost).toBeGreaterThan(0)
    let text = ''
    const piece = Buffer.alloc(2 ** 20)
    for (let round = 0; round < 20; round++) {
      try { text += piece.toString('utf8', 0, readSync(file, piece)) } catch { /* it is empty for now */ }
      lines.flushSync()
    }
    const told = text.trimEnd().split('\n').map(line => JSON.parse(line) as { i?: number; lost?: number })
    expect(told.at(-1)).toMatchObject({ lost })
    expect(told.slice(0, -1).map(({ i }) => i)).toEqual(Array.from({ length: given - lost }, (_, i) => i))
    expect(lines.lost).toBe(0)
  })
})
