import { spawn } from 'node:child_process'
import { once } from 'node:events'
import { mkdtempSync, rmSync, symlinkSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { pathToFileURL } from 'node:url'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { lockLinks, runtimeFolder } from '../../src/app/link-locks.ts'
import { builtEntry } from '../../src/base/paths.ts'

let folder: string
beforeEach(() => { folder = mkdtempSync(join(tmpdir(), 'links-')) })
afterEach(() => rmSync(folder, { recursive: true, force: true }))

describe('the lock of links', () => {
  it('refuses a second daemon that shares one link, and names the link', () => {
    const first = lockLinks(['tcp://bench:5025', 'tcp://bench:5026'], folder)
    expect(() => lockLinks(['tcp://bench:5030', 'tcp://BENCH:5026'], folder))
      .toThrow(expect.objectContaining({ code: 'REFUSED', message: expect.stringContaining('tcp://BENCH:5026') as string }))
    // All or none: what the second had taken is free again.
    lockLinks(['tcp://bench:5030'], folder).release()
    first.release()
    lockLinks(['tcp://bench:5026'], folder).release()
  })

  it('names what is held, by whom, with which data folder, and the way out, and no file of its own', () => {
    const lock = lockLinks(['tcp://bench:5025'], folder, '/srv/night')
    expect(() => lockLinks(['tcp://bench:5025'], folder, '/srv/day')).toThrow(expect.objectContaining({
      message: `process ${process.pid}, with data folder /srv/night, drives tcp://bench:5025 already: `
        + 'one bench has one daemon. End that one, or take this instrument out of the bench file',
    }))
    lock.release()
  })

  it('lets two benches be', () => {
    const locks = [lockLinks(['tcp://bench:1'], folder), lockLinks(['tcp://bench:2', 'usbtmc:/dev/usbtmc7'], folder)]
    for (const lock of locks) lock.release()
  })

  it('knows a port by any of its names and settings, and is no stranger to its own twice', () => {
    writeFileSync(join(folder, 'port'), '')
    symlinkSync(join(folder, 'port'), join(folder, 'by-id'))
    const url = (name: string): string => `serial:${join(folder, name)}`
    const lock = lockLinks([url('port'), `${url('by-id')}?baud=19200`], folder)
    expect(() => lockLinks([`${url('by-id')}?baud=9600`], folder)).toThrow(/drives serial:\S+\?baud=9600 already/)
    lock.release()
  })

  it('is not left behind by a process that was killed', async () => {
    const entry = JSON.stringify(pathToFileURL(builtEntry('src/app/link-locks')).href)
    const code = `const { lockLinks } = await import(${entry})
      lockLinks(['tcp://bench:5025'], ${JSON.stringify(folder)}); console.log('held'); setInterval(() => {}, 1000)`
    const child = spawn(process.execPath, ['--input-type=module', '-e', code], { stdio: ['ignore', 'pipe', 'inherit'] })
    const exited = once(child, 'exit')
    await once(child.stdout, 'data')
    expect(() => lockLinks(['tcp://bench:5025'], folder)).toThrow(`process ${child.pid}`)
    child.kill('SIGKILL')
    await exited
    lockLinks(['tcp://bench:5025'], folder).release()
  })

  it('keeps its locks where the session has its runtime files', () => {
    expect(runtimeFolder({ XDG_RUNTIME_DIR: '/run/user/7' })).toBe('/run/user/7/nightbench-links')
    expect(runtimeFolder({})).toContain(tmpdir())
  })
})
