import { mkdtempSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { localHost } from '../../src/app/local-host.ts'
import { openBench } from '../../src/app/open-bench.ts'
import { fileFault, makeFolder } from '../../src/base/file-fault.ts'
import { makeLog } from '../../src/base/log.ts'

let folder: string
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'fault-'))
  writeFileSync(join(folder, 'plain'), '')
})
afterEach(() => rmSync(folder, { recursive: true }))

describe('a file that cannot be used', () => {
  it('is told by its path, what belongs there and what is there, wherever a bench file is asked for', async () => {
    const path = join(folder, 'bench.yaml')
    const told = {
      code: 'FILE_UNREADABLE', message: `${path}: cannot be read: expected a bench file, got no such file`,
    }
    await expect(openBench(path, folder, makeLog('fatal'))).rejects.toMatchObject(told)
    await expect(localHost(path, folder)).rejects.toMatchObject(told)
  })

  it('names the folder that is missing, and the file that stands where one belongs', () => {
    const path = join(folder, 'none', 'rack.csv')
    const missing = Object.assign(new Error('…'), { code: 'ENOENT' })
    expect(fileFault(path, 'cannot be read', 'a rack list', missing).message)
      .toBe(`${path}: cannot be read: expected a rack list, got no folder ${join(folder, 'none')}`)
    for (const [name, got] of [['plain', 'a file where a folder belongs'], [join('plain', 'x'), 'a path that leads through a file']] as const) {
      expect(() => makeFolder(join(folder, name))).toThrow(`${join(folder, name)}: cannot be made: expected a folder, got ${got}`)
    }
  })

  it('keeps the words of an error that has no code', () => {
    expect(fileFault('f', 'cannot be read', 'a file', new Error('not a regular file\nat')).message)
      .toBe('f: cannot be read: expected a file, got not a regular file')
  })
})
