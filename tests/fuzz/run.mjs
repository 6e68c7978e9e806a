/** `npm run fuzz -- --count N [--seed S] [--only WORDS] [--path P]`: the fuzz tests with many inputs, and a table. */
import { spawnSync } from 'node:child_process'
import { randomInt } from 'node:crypto'
import { mkdtempSync, readFileSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { parseArgs } from 'node:util'

const { values } = parseArgs({ options: {
  count: { type: 'string', default: '100000' }, seed: { type: 'string' }, only: { type: 'string' }, path: { type: 'string' },
} })
const seed = values.seed ?? String(randomInt(2 ** 31))
const folder = mkdtempSync(join(tmpdir(), 'nightbench-fuzz-'))
const report = join(folder, 'report.jsonl')
console.log(`seed ${seed}; replay with --seed ${seed}, and --path as printed with what fails`)
const { status } = spawnSync(process.execPath, [
  'node_modules/vitest/vitest.mjs', 'run', 'tests/fuzz', '--testTimeout=0', '--no-file-parallelism', '--reporter=dot',
  ...(values.only ? ['-t', values.only] : []),
], {
  stdio: 'inherit',
  env: { ...process.env, FUZZ_COUNT: values.count, FUZZ_SEED: seed, FUZZ_REPORT: report, FUZZ_PATH: values.path ?? '' },
})
try {
  console.table(readFileSync(report, 'utf8').trim().split('\n').map(line => JSON.parse(line)))
} catch { /* nothing ran */ }
rmSync(folder, { recursive: true })
process.exitCode = status ?? 1
