/** Writes the test record of the run and of each part into a folder. */
import { mkdirSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { buildPartRecord, buildRecord } from '../report/record.ts'
import { recordHtml } from '../report/html.ts'
import { recordJson } from '../report/json.ts'
import type { Store } from '../schema/store.ts'

/** File of each part by its id; the whole run is `run.html` and `run.json` beside them. */
export async function recordFiles(store: Store, runId: string, folder: string): Promise<Map<string, string>> {
  mkdirSync(folder, { recursive: true })
  const whole = await buildRecord(store, runId)
  writeFileSync(join(folder, 'run.html'), recordHtml(whole))
  writeFileSync(join(folder, 'run.json'), recordJson(whole))
  const files = new Map<string, string>()
  for (const { part } of await store.results(runId)) {
    const path = join(folder, `${part}.html`)
    writeFileSync(path, recordHtml(await buildPartRecord(store, part)))
    files.set(part, path)
  }
  return files
}
