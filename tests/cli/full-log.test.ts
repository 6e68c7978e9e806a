/** A real daemon whose log goes to a full disk. */
import { spawn, type ChildProcess } from 'node:child_process'
import { once } from 'node:events'
import { existsSync, mkdtempSync, openSync, closeSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { createInterface } from 'node:readline'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { builtEntry } from '../../src/base/paths.ts'

let data: string
let full: number
const children: ChildProcess[] = []

function start(stderr: 'inherit' | number, entry: string, ...options: string[]): ChildProcess {
  const child = spawn(process.execPath, [builtEntry(entry), ...options], { stdio: ['pipe', 'pipe', stderr] })
  children.push(child)
  return child
}

async function firstLine<T>(child: ChildProcess): Promise<T> {
  const [line] = await once(createInterface({ input: child.stdout! }), 'line')
  return JSON.parse(String(line)) as T
}

describe.skipIf(!existsSync('/dev/full'))('a daemon whose log goes to a full disk', () => {
  beforeEach(() => {
    data = mkdtempSync(join(tmpdir(), 'full-log-'))
    full = openSync('/dev/full', 'w')
  })
  afterEach(async () => {
    for (const child of children.splice(0).reverse()) {
      if (child.exitCode === null && child.signalCode === null) { child.kill('SIGKILL'); await once(child, 'exit') }
    }
    closeSync(full)
    rmSync(data, { recursive: true, force: true, maxRetries: 5 })
  })

  it('answers as before, and ends when it is told to', async () => {
    const bench = start('inherit', 'mocks/main', '--seed', '5', '--scenario', 'rack-1', '--present')
    const { benchFile } = await firstLine<{ benchFile: object }>(bench)
    writeFileSync(join(data, 'bench.json'), JSON.stringify(benchFile))
    const daemon = start(
      full, 'src/main', 'serve', '--bench', join(data, 'bench.json'), '--data', data, '--port', '0', '--log', 'trace', '--json')
    const { url } = await firstLine<{ url: string }>(daemon)
    // Its keeper gone, it logs that, and that an acknowledgement fails.
    const ack = async (): Promise<number> => (await fetch(`${url}/api/v1/acknowledge`, {
      method: 'POST', headers: { 'content-type': 'application/json' }, body: JSON.stringify({ reason: 'x', person: 'Ida' }),
    })).status
    const { pid } = JSON.parse(readFileSync(join(data, 'keeper-last.json'), 'utf8')) as { pid: number }
    process.kill(pid, 'SIGKILL')
    const answers = new Set([await ack(), await ack(), await ack()])
    expect([...answers].some(status => status >= 500)).toBe(true)
    expect((await fetch(`${url}/api/v1/status`)).status).toBe(200)
    const exited = once(daemon, 'exit')
    daemon.kill('SIGTERM')
    expect((await exited)[0]).toBe(3)
  })
})
