import { execFileSync, spawn } from 'node:child_process'
import { once } from 'node:events'
import { existsSync, mkdirSync, readFileSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { pathToFileURL } from 'node:url'
import { describe, expect, it } from 'vitest'
import { builtEntry } from '../../src/base/paths.ts'
import { lockDataFolder } from '../../src/store/lock.ts'
import { temporaryFolder } from './temporary.ts'

const folder = temporaryFolder()

/** A process that holds the lock of `data` until it is killed. */
async function holder(data: string): Promise<{ pid: number; kill(): Promise<void> }> {
  const entry = JSON.stringify(pathToFileURL(builtEntry('src/store/lock')).href)
  const code = `const { lockDataFolder } = await import(${entry})
    lockDataFolder(${JSON.stringify(data)}); console.log('held'); setInterval(() => {}, 1000)`
  const child =
    spawn(process.execPath, ['--input-type=module', '-e', code], { stdio: ['ignore', 'pipe', 'inherit'] })
  const exited = once(child, 'exit')
  await once(child.stdout, 'data')
  return { pid: child.pid!, kill: async () => { child.kill('SIGKILL'); await exited } }
}

describe('the lock of a data folder', () => {
  it('makes the folder, is taken once, and can be taken again when released', () => {
    const data = folder('deep', 'data')
    const lock = lockDataFolder(data)
    expect(() => lockDataFolder(data)).toThrow(expect.objectContaining({
      code: 'REFUSED', message: `${data}: process ${process.pid} uses this data folder already. End it first, or name another with --data`,
    }))
    lock.release()
    lock.release()
    expect(existsSync(folder('deep', 'data', 'lock.pid'))).toBe(false)
    lockDataFolder(data).release()
  })

  it('does not keep one folder from another', () => {
    const locks = ['one', 'two'].map(name => lockDataFolder(folder(name)))
    locks.forEach(lock => lock.release())
  })

  it('is still held after a second program was refused', () => {
    const data = folder('twice')
    const lock = lockDataFolder(data)
    expect(() => lockDataFolder(data)).toThrow('already')
    expect(() => lockDataFolder(data)).toThrow('already')
    lock.release()
  })

  it('names the process that holds it, and a killed one holds it no longer', async () => {
    const data = folder('killed')
    const { pid, kill } = await holder(data)
    expect(() => lockDataFolder(data)).toThrow(expect.objectContaining({
      code: 'REFUSED', message: expect.stringContaining(`process ${pid} uses this data folder already`) as string,
    }))
    await kill()
    lockDataFolder(data).release()
  })

  it('is taken where nothing more can be written, its holder then unknown', () => {
    const data = folder('full')
    // Where the journal of a database and the holder's note would be.
    for (const name of ['lock.db-journal', 'lock.pid']) mkdirSync(join(data, name), { recursive: true })
    const lock = lockDataFolder(data)
    expect(() => lockDataFolder(data)).toThrow(expect.objectContaining({
      code: 'REFUSED', message: expect.stringContaining('process unknown uses this data folder already') as string,
    }))
    lock.release()
    lockDataFolder(data).release()
  })

  it.skipIf(process.platform === 'win32')('waits for nobody where its holder\'s note is a pipe', () => {
    const data = folder('piped')
    mkdirSync(data)
    execFileSync('mkfifo', [join(data, 'lock.pid')])
    const lock = lockDataFolder(data)
    expect(readFileSync(join(data, 'lock.pid'), 'utf8')).toMatch(/^\d+\n/)
    lock.release()
  })

  it('says STORE where the folder cannot be one', () => {
    writeFileSync(folder('plain'), '')
    expect(() => lockDataFolder(folder('plain'))).toThrow(expect.objectContaining({
      code: 'STORE',
      message: `${folder('plain')}: cannot be made: expected a folder, got a file where a folder belongs`,
    }))
  })
})
