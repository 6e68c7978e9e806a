/**
 * Real processes on a bench that is simulated as a whole: the daemon loads a person's own sequence and runs
 * it.
 */
import { execFile, spawn, type ChildProcess, type ChildProcessByStdio } from 'node:child_process'
import { once } from 'node:events'
import { mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { createInterface } from 'node:readline'
import type { Readable, Writable } from 'node:stream'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { builtEntry, packageFile } from '../../src/base/paths.ts'
import type { SequenceInfo } from '../../src/schema/application.ts'
import type { PartResult, RunRecord } from '../../src/schema/run.ts'

type Child = ChildProcessByStdio<Writable, Readable, null>
let data: string
let bench: Child
const children: ChildProcess[] = []

const start = (entry: string, ...options: string[]): Child => {
  const child = spawn(
    process.execPath, [builtEntry(entry), ...options], { stdio: ['pipe', 'pipe', 'inherit'] }
  )
  children.push(child)
  return child
}

async function firstLine<T>(child: Child): Promise<T> {
  const lines = createInterface({ input: child.stdout })
  const ended = once(child, 'exit').then(([code]) => { throw new Error(`it ended with ${String(code)}`) })
  ended.catch(() => {})
  const [line] = await Promise.race([once(lines, 'line'), ended])
  return JSON.parse(String(line)) as T
}

const nightbench = (...argv: string[]): Promise<{
  exit: number; out: string; err: string
}> => new Promise(resolve => {
  execFile(process.execPath, [builtEntry('src/main'), ...argv, '--data', data], (error, out, err) =>
    resolve({ exit: error ? Number(error.code) : 0, out, err }))
})

beforeEach(async () => {
  data = mkdtempSync(join(tmpdir(), 'own-daemon-'))
  mkdirSync(join(data, 'sequences'))
  bench = start('mocks/main', '--seed', '5', '--scenario', 'rack-1', '--present')
  const ready = await firstLine<{ benchFile: object; parts: object[] }>(bench)
  writeFileSync(join(data, 'bench.json'), JSON.stringify(ready.benchFile))
  writeFileSync(join(data, 'rack.json'), JSON.stringify(ready.parts))
})
afterEach(async () => {
  // The newest first: a daemon makes its bench safe before it ends, and its keeper ends with it.
  for (const child of children.splice(0).reverse()) {
    if (child.exitCode === null && child.signalCode === null) {
      child.kill('SIGTERM'); await once(child, 'exit')
    }
  }
  rmSync(data, { recursive: true, force: true, maxRetries: 5 })
})

const serve = (): Child =>
  start('src/main', 'serve', '--bench', join(data, 'bench.json'), '--data', data, '--port', '0', '--log', 'fatal', '--json')

describe('a daemon with a sequence of a person\'s own', () => {
  it('lists it, runs it to its end, and keeps its hash in the record', async () => {
    const page = readFileSync(packageFile('docs', 'writing-a-sequence.md'), 'utf8')
    writeFileSync(join(data, 'sequences', 'short.mjs'), /```js\n([\s\S]*?)```/.exec(page)![1]!)
    await firstLine(serve())
    const listed = JSON.parse((await nightbench('sequences', '--json')).out) as SequenceInfo[]
    const own = listed.find(({ name }) => name === 'short-soak')!
    expect(own.origin).toMatchObject({ file: join(data, 'sequences', 'short.mjs') })
    const request = ['short-soak', '--parts', join(data, 'rack.json'), '--set', 'soakS=60', '--cautions-read', '--polarity-checked']
    const { out, err } = await nightbench('start', ...request, '--watch', '--json')
    const end = JSON.parse(out.trimEnd().split('\n').at(-1) ?? '{}') as {
      run: RunRecord; results: PartResult[]
    }
    expect(end.run?.state, `${out} ${err}`).toBe('done')
    expect(end.results.map(({ position }) => position)).toEqual(['P01'])
    const page1 = join(data, 'r.html')
    expect((await nightbench('report', end.run.id, '-o', page1)).exit).toBe(0)
    expect(readFileSync(page1, 'utf8')).toContain(own.origin!.hash)
  }, 120_000)

  it('does not start with one that cannot be used, and says which file and why', async () => {
    writeFileSync(join(data, 'sequences', 'half.mjs'), 'export default { name: "half" }')
    const { exit, err } = await nightbench(
      'serve', '--bench', join(data, 'bench.json'), '--port', '0', '--log', 'fatal'
    )
    expect(exit).toBe(2)
    expect(err).toContain(join(data, 'sequences', 'half.mjs'))
    expect(err).toMatch(/summary: expected/)
    expect(err).toMatch(/run: expected a function/)
  }, 60_000)

  it('makes the bench safe, says why, and ends with 4 when one throws where nobody catches', async () => {
    const page = readFileSync(packageFile('docs', 'writing-a-sequence.md'), 'utf8')
    const careless = /```js\n([\s\S]*?)```/.exec(page)![1]!.replace('await bench.moveBus(bench.targetV)',
      'await bench.moveBus(100)\n    Promise.reject(new Error("a promise nobody kept"))\n    await bench.rest(3600)')
    expect(careless).toContain('nobody kept')
    writeFileSync(join(data, 'sequences', 'careless.mjs'), careless)
    const daemon = serve()
    await firstLine(daemon)
    const request = ['short-soak', '--parts', join(data, 'rack.json'), '--cautions-read', '--polarity-checked']
    expect((await nightbench('start', ...request, '--json')).exit).toBe(0)
    const [code] = daemon.exitCode === null ? await once(daemon, 'exit') : [daemon.exitCode]
    expect(code).toBe(4)
    await firstLine(serve())
    const [last] = JSON.parse((await nightbench('runs', '--json')).out) as RunRecord[]
    expect(last?.state).toBe('stopped')
    expect((await nightbench('report', last!.id, '--json')).out).toContain('a promise nobody kept')
  }, 120_000)
})
