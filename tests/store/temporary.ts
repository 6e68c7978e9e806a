import { mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterAll, beforeAll } from 'vitest'

/** A folder for the tests of one file, removed after them. The returned function names a path within it. */
export function temporaryFolder(): (...name: string[]) => string {
  let folder = ''
  beforeAll(() => { folder = mkdtempSync(join(tmpdir(), 'nightbench-store-')) })
  afterAll(() => rmSync(folder, { recursive: true, force: true }))
  return (...name) => join(folder, ...name)
}
