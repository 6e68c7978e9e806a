/** The schema, as the numbered steps that led to it. A step, once released, is never edited: add another. */
import { assert } from '../../base/assert.ts'
import { record } from './0001-record.ts'
import { levels } from './0002-levels.ts'

export interface Migration {
  readonly version: number
  readonly name: string
  readonly sql: string
  /** The levels are derived data: after the last step they are built anew by the code of the day. */
  readonly rebuildsLevels?: boolean
}

export const migrations: readonly Migration[] = [record, levels]

migrations.forEach(
  (step, index) => assert(step.version === index + 1, `migration ${step.name} is out of order`)
)

export const latestVersion = migrations.length
