/** The version of this software, as every record prints it. */
import { readFileSync } from 'node:fs'
import { packageFile } from './paths.ts'

const { name, version } =
  JSON.parse(readFileSync(packageFile('package.json'), 'utf8')) as { name: string; version: string }
export const softwareVersion = `${name} ${version}`
