import { execFileSync, spawn } from 'node:child_process'
import { existsSync, mkdirSync, mkdtempSync, readdirSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { readDaemonNote, writeDaemonNote } from '../../src/base/daemon-file.ts'

let folder: string
beforeEach(() => { folder = mkdtempSync(join(tmpdir(), 'note-')) })
afterEach(() => rmSync(folder, { recursive: true }))

const note = { url: 'http://127.0.0.1:7316', pid: 7, id: '1f0e4c1a-0000-4000-8000-000000000000' }

describe('the note of where the daemon listens', () => {
  it('is found again', () => {
    writeDaemonNote(join(folder, 'data'), note)
    expect(readDaemonNote(join(folder, 'data'))).toEqual(note)
  })

  it('is none where it does not say which daemon it is of', () => {
    for (const id of [undefined, '', 7, 'two\nlines', 'x'.repeat(65)]) {
      writeFileSync(join(folder, 'daemon.json'), JSON.stringify({ ...note, id }))
      expect(readDaemonNote(folder)).toBeUndefined()
    }
  })

  it.skipIf(process.platform === 'win32')('is none where a pipe stands, and nobody waits for who writes to it', () => {
    const [pipe, opened] = [join(folder, 'daemon.json'), join(folder, 'opened')]
    execFileSync('mkfifo', [pipe])
    const writer = spawn('sh', ['-c', 'sleep 3; : > "$1"; : > "$0"', pipe, opened], { stdio: 'ignore' })
    try {
      expect(readDaemonNote(folder)).toBeUndefined()
    } finally {
      writer.kill()
    }
    expect(existsSync(opened)).toBe(false)
  })

  it('that cannot be written is told by its path, and leaves no half of it', () => {
    const path = join(folder, 'daemon.json')
    mkdirSync(join(path, 'full'), { recursive: true })
    expect(() => writeDaemonNote(folder, note)).toThrow(expect.objectContaining({
      code: 'STORE', context: expect.objectContaining({ file: path }) as unknown,
    }) as Error)
    expect(readdirSync(folder)).toEqual(['daemon.json'])
  })
})
