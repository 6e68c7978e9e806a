/** Where this package's own files are, whether it runs from TypeScript (tests) or from dist. */
import { existsSync } from 'node:fs'
import { dirname, join } from 'node:path'
import { fileURLToPath } from 'node:url'

function findRoot(): string {
  let folder = dirname(fileURLToPath(import.meta.url))
  while (!existsSync(join(folder, 'package.json'))) folder = dirname(folder)
  return folder
}

export const packageRoot = findRoot()
/**
 * A compiled entry, e.g. `builtEntry('src/keeper/main')`. Child processes and workers always start from dist.
 */
export const builtEntry = (name: string): string => join(packageRoot, 'dist', `${name}.js`)
export const packageFile = (...parts: string[]): string => join(packageRoot, ...parts)
