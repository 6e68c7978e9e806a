import { execFileSync, spawn } from 'node:child_process'
import { chmodSync, existsSync, mkdirSync, mkdtempSync, readdirSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { VirtualClock } from '../../src/base/clock.ts'
import { KeeperNote, lastEndOf } from '../../src/keeper/last.ts'
import type { SafeOffReport } from '../../src/schema/application.ts'

let folder: string
const clock = new VirtualClock()
beforeEach(() => { folder = mkdtempSync(join(tmpdir(), 'last-')) })
afterEach(() => { chmodSync(folder, 0o700); rmSync(folder, { recursive: true }) })

const report: SafeOffReport = {
  reason: 'the daemon is gone', atWallMs: 7, sentMs: 1, verifiedMs: 30,
  links: [{ link: 'psu', sent: true, freshLink: false, verified: true, note: '' }],
}
const note = (pid = 1): KeeperNote => new KeeperNote(folder, clock, pid)

describe('what a keeper leaves behind', () => {
  it('is its last safe-off, once it has ended, and nothing before', () => {
    const keeper = note()
    keeper.see({ type: 'safe-off', report: { ...report, reason: 'an earlier one' } })
    keeper.see({ type: 'safe-off', report })
    expect(lastEndOf(folder)).toBeNull()
    keeper.end()
    expect(lastEndOf(folder)).toMatchObject({ safeOff: report })
    expect(readdirSync(folder)).toEqual(['keeper-last.json'])
  })

  it('is nothing of a keeper that was killed, whatever the one before it left', () => {
    const before = note()
    before.see({ type: 'safe-off', report })
    before.end()
    note(2).see({ type: 'safe-off', report })
    expect(lastEndOf(folder)).toBeNull()
  })

  it('is nothing where energy may have come on since', () => {
    const keeper = note()
    keeper.see({ type: 'safe-off', report })
    keeper.see({ type: 'mode', mode: 'armed' })
    keeper.end()
    expect(lastEndOf(folder)).toBeNull()
  })

  it('is nothing of a keeper that ends when another has begun', () => {
    const late = note()
    note(2)
    late.see({ type: 'safe-off', report })
    late.end()
    expect(lastEndOf(folder)).toBeNull()
  })

  it('harms nobody where it cannot be written or read', () => {
    mkdirSync(join(folder, 'keeper-last.json'))
    const keeper = note()
    keeper.see({ type: 'safe-off', report })
    keeper.end()
    rmSync(join(folder, 'keeper-last.json'), { recursive: true })
    writeFileSync(join(folder, 'keeper-last.json'), '{"pid":1')
    expect(lastEndOf(folder)).toBeNull()
    expect(lastEndOf(join(folder, 'none'))).toBeNull()
  })

  it.skipIf(process.platform === 'win32')('is nothing where a pipe stands, and nobody waits for who writes to it', () => {
    const [pipe, opened] = [join(folder, 'keeper-last.json'), join(folder, 'opened')]
    execFileSync('mkfifo', [pipe])
    const writer = spawn('sh', ['-c', 'sleep 3; : > "$1"; : > "$0"', pipe, opened], { stdio: 'ignore' })
    try {
      expect(lastEndOf(folder)).toBeNull()
    } finally {
      writer.kill()
    }
    expect(existsSync(opened)).toBe(false)
  })
})
