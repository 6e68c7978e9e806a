import { spawn, type ChildProcessWithoutNullStreams } from 'node:child_process'
import { once } from 'node:events'
import { existsSync, mkdtempSync, readFileSync, rmSync } from 'node:fs'
import { constants, open as openFile } from 'node:fs/promises'
import { connect } from 'node:net'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, describe, expect, test } from 'vitest'
import { parse } from 'yaml'
import { builtEntry, packageFile } from '../../src/base/paths.ts'
import { benchFile } from '../../src/schema/bench.ts'
import { loadedPart } from '../../src/schema/run.ts'
import { benchFileOf, instrumentNames } from '../../mocks/bench/layout.ts'
import { serveTcp } from '../../mocks/bench/links.ts'
import { openPty } from '../../mocks/pty.ts'
import { serveBench, type ServedBench, type ServeOptions } from '../../mocks/bench/serve-bench.ts'
import { scenarioPavilion } from '../../mocks/bench/scenarios.ts'

const open: ServedBench[] = []
const children: ChildProcessWithoutNullStreams[] = []
afterEach(() => {
  for (const bench of open.splice(0)) bench.close()
  for (const child of children.splice(0)) child.kill('SIGKILL')
})

async function serve(over: Partial<ServeOptions> = {}): Promise<ServedBench> {
  const bench = await serveBench({ seed: 1, scenario: scenarioPavilion(1), wallStartMs: 0, ...over })
  open.push(bench)
  return bench
}

/** One line out, one line back, over a connection of its own. */
function ask(url: string, line: string): Promise<string> {
  return new Promise((resolve, reject) => {
    const socket = connect(Number(new URL(url).port), '127.0.0.1')
    let text = ''
    socket.setNoDelay(true)
    socket.on('error', reject)
    socket.on('data', chunk => {
      text += String(chunk)
      if (!text.includes('\n')) return
      socket.destroy()
      resolve(text.trim())
    })
    socket.write(`${line}\n`)
  })
}

const urlOf = (bench: { benchFile: object }, name: string): string =>
  benchFile.parse(bench.benchFile).instruments[name]!.url
const tell = async (bench: { controlUrl: string }, request: object): Promise<unknown> => {
  const answer = JSON.parse(await ask(bench.controlUrl, JSON.stringify(request))) as {
    ok?: unknown; error?: string,
  }
  if (answer.error !== undefined) throw new Error(answer.error)
  return answer.ok
}

describe('a served bench', () => {
  test('answers on every URL of its own bench file with the identity written there', async () => {
    const bench = await serve()
    const file = benchFile.parse(bench.benchFile)
    for (const name of instrumentNames) {
      const { url, identity } = file.instruments[name]!
      expect(await ask(url, '*IDN?')).toContain(identity)
    }
    expect(file.simulated?.timeUrl).toBe(bench.timeUrl)
  })

  test('in real time there is no time server, and contact travel takes its real time', async () => {
    const bench = await serve({ realtime: true })
    expect(bench.timeUrl).toBeNull()
    expect(benchFile.parse(bench.benchFile).simulated).toBeUndefined()
    const url = urlOf(bench, 'cutoff')
    expect(await ask(url, 'OUTP:CLOS;:OUTP:STAT?')).toBe('0')
    for (let i = 0; i < 200 && await ask(url, 'OUTP:STAT?') !== '1'; i++);
    expect(await ask(url, 'OUTP:STAT?')).toBe('1')
  })

  test('tells the truth, turns the key, opens the cover, breaks and mends', async () => {
    const bench = await serve()
    const truth = await tell(bench, { do: 'truth' }) as { kind: string }[]
    expect(truth.filter(line => line.kind === 'stale')).toHaveLength(3)
    await tell(bench, { do: 'presence', on: true })
    expect(await ask(urlOf(bench, 'interlock'), 'INP? 2')).toBe('1')
    await tell(bench, { do: 'cover', closed: false })
    expect(await ask(urlOf(bench, 'interlock'), 'INP? 1')).toBe('0')
    await tell(
      bench, { do: 'fault', instrument: 'beacon', fault: { kind: 'wrong-answer', value: 'BLUE', times: 1 } }
    )
    expect(await ask(urlOf(bench, 'beacon'), 'LAMP?')).toBe('BLUE')
    expect(await ask(urlOf(bench, 'beacon'), 'LAMP?')).toBe('DARK')
    await ask(urlOf(bench, 'psu'), 'SYST:REM;:VOLT 5;:CURR 0.1;:OUTP ON;*OPC?')
    expect(await tell(bench, { do: 'last', instrument: 'psu', what: 'output' })).toEqual(
      { atMs: 0, what: 'output', value: 1 }
    )
    expect(await tell(bench, { do: 'state' })).toMatchObject(
      { supplyDriven: true, contactorClosed: false, coverClosed: false }
    )
    await expect(tell(bench, { do: 'dance' })).rejects.toThrow(/no such request/)
    await expect(tell(bench, { do: 'received', instrument: 'kettle' })).rejects.toThrow(
      /no instrument kettle/
    )
  })

  test('a disconnect closes the socket from the device side; a new one is answered', async () => {
    const bench = await serve()
    const socket = connect(Number(new URL(urlOf(bench, 'psu')).port), '127.0.0.1')
    await once(socket, 'connect')
    await ask(urlOf(bench, 'psu'), '*IDN?')
    bench.bench.instruments.psu.device.faults.set({ kind: 'disconnect' })
    await once(socket, 'close')
    expect(await ask(urlOf(bench, 'psu'), '*IDN?')).toContain('SIMULATED')
  })
})

test('an instrument for one client leaves a second one waiting until the first is gone', async () => {
  const { bench } = await serve()
  const link = await serveTcp(bench.instruments.beacon, { clients: 'one' })
  const first = connect(Number(new URL(link.url).port), '127.0.0.1')
  await once(first, 'connect')
  let answered = false
  const second = ask(link.url, 'LAMP?').then(answer => { answered = true; return answer })
  first.write('LAMP LIVE;LAMP?\n')
  await once(first, 'data')
  expect(answered).toBe(false)
  first.destroy()
  expect(await second).toBe('LIVE')
  link.close()
})

const noPty = await openPty().then(pty => { pty.close(); return '' }, (error: Error) => error.message)

test.skipIf(noPty !== '')(`supply, relay board and cutoff answer on serial lines ${noPty}`, async () => {
  const bench = await serve({ serial: true, realtime: true })
  for (const [name, command, answer] of [
    ['psu', 'SYST:ERR?', '+0,"No error"\r\n'], ['relays', 'ROUT:CLOS:COUN?', '0\n'], ['cutoff', 'OUTP:STAT?', '0\n'],
  ] as const) {
    const [, path] = /^serial:(.+)\?baud=\d+$/.exec(urlOf(bench, name))!
    const port = await openFile(path!, constants.O_RDWR | constants.O_NOCTTY)
    await port.write(`${command}\n`)
    const { buffer, bytesRead } = await port.read()
    expect(buffer.toString('latin1', 0, bytesRead)).toBe(answer)
    await port.close()
  }
  expect(urlOf(bench, 'bridge')).toMatch(/^tcp:/)
})

test('the shipped bench file of the Pavilion is what the simulated bench says of itself', () => {
  const shipped: unknown = parse(
    readFileSync(packageFile('profiles/benches/saltmarsh-pavilion.yaml'), 'utf8')
  )
  const urls = Object.fromEntries(instrumentNames.map((name, i) => [name, `tcp://127.0.0.1:${15001 + i}`]))
  expect(shipped).toEqual(benchFileOf(scenarioPavilion(1), urls))
  expect(benchFile.parse(shipped).bench).toBe('saltmarsh-pavilion')
})

describe('the process', () => {
  function start(...args: string[]): ChildProcessWithoutNullStreams {
    const entry = builtEntry('mocks/main')
    expect(existsSync(entry), 'npm run build comes before the tests').toBe(true)
    const child = spawn(process.execPath, [entry, ...args])
    children.push(child)
    return child
  }

  test('prints one line when it is ready, and ends when its input closes', async () => {
    const child = start('--seed', '4', '--present')
    const [line] = await once(child.stdout, 'data') as [Buffer]
    const ready = JSON.parse(String(line)) as {
      benchFile: object; timeUrl: string; controlUrl: string; parts: unknown[],
    }
    expect(benchFile.parse(ready.benchFile).simulated?.timeUrl).toBe(ready.timeUrl)
    expect(ready.parts.map(part => loadedPart.parse(part).position)).toContain('P10')
    expect(await tell(ready, { do: 'state' })).toMatchObject({ present: true, busV: 0 })
    const exited = once(child, 'exit')
    child.stdin.end()
    expect(await exited).toEqual([0, null])
  })

  test('lives on where its input is no pipe, as behind the & of a shell, and writes its bench file', async () => {
    const folder = mkdtempSync(join(tmpdir(), 'nightbench-sim-'))
    const file = join(folder, 'bench.json')
    const child = spawn(process.execPath, [builtEntry('mocks/main'), '--scenario', 'rack-1', '--bench-file', file], {
      stdio: ['ignore', 'pipe', 'inherit'],
    })
    try {
      const [line] = await once(child.stdout, 'data') as [Buffer]
      const ready = JSON.parse(String(line)) as { benchFile: object; controlUrl: string }
      // Its input has ended by now: a bench that lived by it would not answer twice.
      for (const _ of [1, 2]) expect(await tell(ready, { do: 'state' })).toMatchObject({ busV: 0 })
      expect(JSON.parse(readFileSync(file, 'utf8'))).toEqual(ready.benchFile)
      expect(child.exitCode).toBeNull()
      const exited = once(child, 'exit')
      child.kill('SIGTERM')
      expect(await exited).toEqual([null, 'SIGTERM'])
    } finally {
      child.kill('SIGKILL')
      rmSync(folder, { recursive: true, force: true })
    }
  })

  test.each([[['--scenario', 'palace']], [['--seed', 'x']], [['--no-such']], [['--scenario', 'rack-480']]])(
    'refuses %j with exit code 2', async args => {
      expect(await once(start(...args), 'exit')).toEqual([2, null])
    })
})
