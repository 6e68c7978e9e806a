/** A simulated jig from outside: its links, its back door, and the real program on it. */
import { execFile, spawn, type ChildProcess, type ChildProcessByStdio } from 'node:child_process'
import { once } from 'node:events'
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs'
import { connect } from 'node:net'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { createInterface } from 'node:readline'
import type { Readable, Writable } from 'node:stream'
import { afterEach, describe, expect, it } from 'vitest'
import type { TruthOfPart } from '../../mocks/bench/drawer.ts'
import { jigInstrumentNames } from '../../mocks/bench/jig-bench.ts'
import { serveJig, type ServedJig, type ServeJigOptions } from '../../mocks/bench/serve-jig.ts'
import { openPty } from '../../mocks/pty.ts'
import { builtEntry } from '../../src/base/paths.ts'
import { benchFile } from '../../src/schema/bench.ts'
import type { PartResult, RunRecord } from '../../src/schema/run.ts'

type Child = ChildProcessByStdio<Writable, Readable, null>
const open: ServedJig[] = []
const children: ChildProcess[] = []
const folders: string[] = []
afterEach(async () => {
  for (const jig of open.splice(0)) jig.close()
  // The newest first: a daemon makes its bench safe before it ends, and its keeper ends with it.
  for (const child of children.splice(0).reverse()) {
    if (child.exitCode === null && child.signalCode === null) { child.kill('SIGTERM'); await once(child, 'exit') }
  }
  for (const folder of folders.splice(0)) rmSync(folder, { recursive: true, force: true, maxRetries: 5 })
})

async function serve(over: Partial<ServeJigOptions> = {}): Promise<ServedJig> {
  const jig = await serveJig({ seed: 1, wallStartMs: 0, ...over })
  open.push(jig)
  return jig
}

/** One line out, one line back, over a connection of its own. */
function ask(url: string, line: string): Promise<string> {
  return new Promise((resolve, reject) => {
    const socket = connect(Number(new URL(url).port), '127.0.0.1')
    socket.on('error', reject)
    createInterface({ input: socket }).once('line', answer => { socket.destroy(); resolve(answer) })
    socket.write(`${line}\n`)
  })
}

async function tell<T>(controlUrl: string, request: object): Promise<T> {
  const { ok, error } = JSON.parse(await ask(controlUrl, JSON.stringify(request))) as { ok?: unknown; error?: string }
  if (error !== undefined) throw new Error(error)
  return ok as T
}

describe('a served jig', () => {
  it('has a cover on request, led by the back door: locked without power', async () => {
    const jig = await serve({ covered: true })
    const file = benchFile.parse(jig.benchFile)
    expect(file.jig).toMatchObject({ voltageMaxV: 500, cover: { lockRelay: 41, bleedRelay: 42 } })
    expect(await ask(file.instruments['door']!.url, 'INP? 1')).toBe('1')
    expect(await tell(jig.controlUrl, { do: 'open' })).toBe(false)
    await ask(file.instruments['matrix']!.url, 'ROUT:CLOS (@41);*OPC?')
    expect(await tell(jig.controlUrl, { do: 'open' })).toBe(true)
    await tell(jig.controlUrl, { do: 'press' })
    expect(await ask(file.instruments['door']!.url, 'INP? 2')).toBe('1')
    expect(await tell(jig.controlUrl, { do: 'audit' })).toMatchObject({ exposed: [] })
    await expect(tell((await serve()).controlUrl, { do: 'close' })).rejects.toThrow('this jig has no cover')
  })

  it('answers on every URL of its own bench file with the identity written there', async () => {
    const jig = await serve()
    const file = benchFile.parse(jig.benchFile)
    for (const name of jigInstrumentNames) {
      const { url, identity } = file.instruments[name]!
      expect(await ask(url, '*IDN?')).toContain(identity)
    }
    expect(file.simulated?.timeUrl).toBe(jig.timeUrl)
  })

  it('has its hands led: a part in, and out again, in a time that hands take', async () => {
    const { controlUrl, timeUrl } = await serve({ realtime: true })
    expect(timeUrl).toBeNull()
    const lies = async (): Promise<string | null> => (await tell<{ part: string | null }>(controlUrl, { do: 'state' })).part
    await tell(controlUrl, { do: 'put', part: 'known-100' })
    expect(await lies()).toBeNull()
    while (await lies() === null) { /* asked again at once */ }
    expect(await lies()).toBe('known-100')
    await tell(controlUrl, { do: 'take' })
    while (await lies() !== null) { /* asked again at once */ }
    await expect(tell(controlUrl, { do: 'put', part: 'V1' })).rejects.toThrow(/no part V1/)
    await expect(tell(controlUrl, { do: 'dance' })).rejects.toThrow(/no such request/)
    expect(await tell(controlUrl, { do: 'audit' })).toEqual({ wrongs: [], most: { volts: 0, amps: 0 }, mixUp: null })
  })

  it('breaks and mends its instruments, from the start too', async () => {
    const jig = await serve({ faults: { ohms: [{ kind: 'wrong-answer', match: '*IDN?', value: 'A,KETTLE,1,1', times: 1 }] } })
    const { url } = benchFile.parse(jig.benchFile).instruments['ohms']!
    expect(await ask(url, '*IDN?')).toBe('A,KETTLE,1,1')
    expect(await ask(url, '*IDN?')).toContain('SIMULATED')
    await tell(jig.controlUrl, { do: 'fault', instrument: 'ohms', fault: { kind: 'wrong-answer', value: 'NO', times: 1 } })
    expect(await ask(url, '*IDN?')).toBe('NO')
    await expect(tell(jig.controlUrl, { do: 'received', instrument: 'kettle' })).rejects.toThrow(/no instrument kettle/)
  })
})

const noPty = await openPty().then(pty => { pty.close(); return '' }, (error: Error) => error.message)

it.skipIf(noPty !== '')(`its relay board hangs on a serial line where there is one ${noPty}`, async () => {
  const { instruments } = benchFile.parse((await serve({ serial: true })).benchFile)
  expect(instruments['matrix']!.url).toMatch(/^serial:.+\?baud=115200$/)
  expect(instruments['ohms']!.url).toMatch(/^tcp:/)
})

describe('the process', () => {
  const start = (entry: string, ...options: string[]): Child => {
    const child = spawn(process.execPath, [builtEntry(entry), ...options], { stdio: ['pipe', 'pipe', 'inherit'] })
    children.push(child)
    return child
  }
  const firstLine = async <T>(child: Child): Promise<T> => {
    const ended = once(child, 'exit').then(([code]) => { throw new Error(`it ended with ${String(code)}`) })
    ended.catch(() => {})
    const [line] = await Promise.race([once(createInterface({ input: child.stdout }), 'line'), ended])
    return JSON.parse(String(line)) as T
  }

  it('is screened by a real daemon, keeper and command line: hands follow the feed, and `lot` sums it up', async () => {
    const folder = mkdtempSync(join(tmpdir(), 'nightbench-jig-'))
    folders.push(folder)
    const nightbench = (...argv: string[]): Promise<{ exit: number; out: string }> => new Promise(resolve => {
      execFile(process.execPath, [builtEntry('src/main'), ...argv, '--data', folder], (error, out, err) =>
        resolve({ exit: error ? Number(error.code) : 0, out: out + err }))
    })
    const bench = start('mocks/main', '--jig', '--seed', '5', '--bench-file', join(folder, 'bench.json'))
    const { controlUrl } = await firstLine<{ controlUrl: string }>(bench)
    const { url } = await firstLine<{ url: string }>(start('src/main', 'serve', '--bench', join(folder, 'bench.json'),
      '--data', folder, '--port', '0', '--log', 'fatal', '--json'))
    expect(await tell(controlUrl, { do: 'follow', url })).toBe(true)
    const list = join(folder, 'few.csv')
    writeFileSync(list, 'ref,kind,value,tolerance,voltage,material\nR1,resistor,1M,10,,\n"R2, R3",resistor,100k,5,,\nR4,resistor,4k7,5,,\n'
      + 'D5,zener,5.1 V,5,,silicon\nQ1,npn,small signal,,,silicon\n')
    const { out } = await nightbench('screen', list, '--json')
    const end = JSON.parse(out.trimEnd().split('\n').at(-1)!) as { run: RunRecord; results: PartResult[] }
    expect(end.run?.state, out.slice(-2000)).toBe('done')
    expect(end.results.map(({ position }) => position).sort()).toEqual(['D5', 'Q1', 'R1', 'R2', 'R3', 'R4'])
    const truth = await tell<TruthOfPart[]>(controlUrl, { do: 'truth' })
    for (const { position, grade } of end.results) {
      const { grades, faint } = truth.find(({ part }) => part === position)!
      expect([...grades, ...faint ? ['accept'] : []], position).toContain(grade)
    }
    expect(await tell(controlUrl, { do: 'state' })).toMatchObject({ part: null, driven: false })
    expect(await tell<{ wrongs: string[] }>(controlUrl, { do: 'audit' })).toMatchObject({ wrongs: [] })
    expect((await nightbench('lot', end.run.id)).out).toContain('6 parts')
    const exited = once(bench, 'exit')
    bench.stdin.end()
    expect(await exited).toEqual([0, null])
  }, 120_000)

  it.each([[['--hands', 'http://127.0.0.1:1']], [['--jig', '--seed', 'x']], [['--jig', '--scenario', 'rack-2']], [['--jig', '--hands', '7316']]])('refuses %j with exit code 2', async args => {
    expect(await once(start('mocks/main', ...args), 'exit')).toEqual([2, null])
  })
})
