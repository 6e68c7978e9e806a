/**
 * JSON Schemas of the files people write, for editors that check while one types. Made of what reads the
 * files.
 */
import { z } from 'zod'
import { benchFile } from '../schema/bench.ts'
import { instrumentProfile } from '../schema/instrument-profile.ts'
import { partProfile } from '../schema/part-profile.ts'
import { partsPolicy } from '../schema/parts-policy.ts'
import { unitRequest } from '../schema/stand.ts'
import { unitProfile } from '../schema/unit-profile.ts'
import { rackList } from './rack-list.ts'

export interface FileSchema { readonly file: string; readonly of: string; readonly schema: object }

/**
 * One schema (JSON Schema 2020-12) a kind of file. They cannot say what compares two fields or two files, so
 * a file that passes an editor is still checked whole when it is read.
 */
export function fileSchemas(): FileSchema[] {
  return kinds.map(({ file, of, type }) => ({
    file, of, schema: { title: of, ...z.toJSONSchema(type, { io: 'input', target: 'draft-2020-12' }) },
  }))
}

const kinds = [
  { file: 'bench.schema.json', of: 'Nightbench bench file', type: benchFile },
  { file: 'instrument-profile.schema.json', of: 'Nightbench instrument profile', type: instrumentProfile },
  { file: 'part-profile.schema.json', of: 'Nightbench part profile', type: partProfile },
  { file: 'unit-profile.schema.json', of: 'Nightbench unit profile', type: unitProfile },
  { file: 'unit-sheet.schema.json', of: 'Nightbench unit sheet', type: unitRequest },
  { file: 'rack-list.schema.json', of: 'Nightbench rack list', type: rackList },
  { file: 'parts-policy.schema.json', of: 'Nightbench policy for parts', type: partsPolicy },
] as const
