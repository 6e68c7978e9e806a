/** A start that fails leaves the bench off all the same: what killed the last daemon may have left the supply on. */
import { execFileSync } from 'node:child_process'
import { mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs'
import { connect } from 'node:net'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { setTimeout as pause } from 'node:timers/promises'
import { afterEach, beforeEach, describe, expect, it, vi } from 'vitest'
import { scenarioHealthyRack } from '../../mocks/bench/scenarios.ts'
import { serveBench, type ServedBench } from '../../mocks/bench/serve-bench.ts'
import { openBench } from '../../src/app/open-bench.ts'
import { makeLog } from '../../src/base/log.ts'
import { lockDataFolder } from '../../src/store/lock.ts'

let folder: string
let served: ServedBench
type File = { instruments: Record<string, { url: string }> }

beforeEach(async () => {
  folder = mkdtempSync(join(tmpdir(), 'failed-start-'))
  served = await serveBench({ seed: 5, scenario: scenarioHealthyRack(2, 5), wallStartMs: Date.UTC(2026, 0, 1) })
  await tell('psu', 'SYST:REM', 'VOLT 40', 'CURR 0.01', 'OUTP ON')
  expect(served.bench.instruments.psu.core.driven).toBe(true)
})
afterEach(() => {
  served.close()
  rmSync(folder, { recursive: true, force: true })
})

const file = (): File => structuredClone(served.benchFile) as File

/** What somebody said to an instrument before this daemon came. */
async function tell(name: string, ...lines: string[]): Promise<void> {
  const socket = connect(Number(new URL(file().instruments[name]!.url).port), '127.0.0.1')
  socket.write(lines.map(line => `${line}\n`).join(''))
  for (let i = 0; i < 100 && !served.bench.instruments.psu.core.driven; i++) await pause(10)
  socket.destroy()
}

async function failure(bench = file(), data = folder): Promise<unknown> {
  const path = join(folder, 'bench.json')
  writeFileSync(path, JSON.stringify(bench))
  return await openBench(path, data, makeLog('silent')).then(() => 'it opened', (error: unknown) => error)
}

describe('a start that fails leaves the supply off', () => {
  it('when the record is damaged', async () => {
    writeFileSync(join(folder, 'record.db'), 'no database at all '.repeat(500))
    expect(await failure()).toMatchObject({ code: 'STORE' })
    expect(served.bench.instruments.psu.core.driven).toBe(false)
  })

  it('when a meter does not answer', async () => {
    const bench = file()
    bench.instruments['bus-dmm']!.url = 'tcp://127.0.0.1:1'
    expect(await failure(bench)).toMatchObject({ code: 'LINK_OPEN' })
    expect(served.bench.instruments.psu.core.driven).toBe(false)
  })

  it('when a sequence of a person does not load', async () => {
    mkdirSync(join(folder, 'sequences'))
    writeFileSync(join(folder, 'sequences', 'bad.mjs'), 'throw new Error("no")')
    expect(await failure()).toMatchObject({ code: 'FILE_INVALID' })
    expect(served.bench.instruments.psu.core.driven).toBe(false)
  })

  it.each([
    ['lock.db is a folder', 'lock.db', mkdirSync], ['lock.db is no database', 'lock.db', (path: string) => writeFileSync(path, 'no database '.repeat(500))],
    ['keeper.sock is a folder', 'keeper.sock', mkdirSync], ['keeper.log is a folder', 'keeper.log', mkdirSync],
  ] as const)('when %s', async (_, name, spoil) => {
    spoil(join(folder, name))
    const error = await failure()
    expect(error).toMatchObject({ code: 'STORE', message: expect.stringContaining(name.startsWith('lock') ? folder : join(folder, name)) as string })
    expect(served.bench.instruments.psu.core.driven).toBe(false)
  })

  it.skipIf(process.platform === 'win32').each(['keeper.log', 'lock.db'])('when %s is a pipe, without waiting for who reads it', async name => {
    execFileSync('mkfifo', [join(folder, name)])
    const beganMs = performance.now()
    expect(await failure()).toMatchObject({ code: 'STORE' })
    expect(performance.now() - beganMs).toBeLessThan(15_000)
    expect(served.bench.instruments.psu.core.driven).toBe(false)
  })

  it('when the data folder is a file', async () => {
    writeFileSync(join(folder, 'data'), '')
    expect(await failure(file(), join(folder, 'data'))).toMatchObject({ code: 'STORE' })
    expect(served.bench.instruments.psu.core.driven).toBe(false)
  })
})

describe('a start that did not see the bench off says so', () => {
  const unknown = (why: string): unknown => ({
    code: 'ENERGY_UNKNOWN', message: expect.stringMatching(new RegExp(`${why}.*NOT SEE THE BENCH OFF: it may be energised`, 's')) as string,
    mend: expect.stringContaining('Open the cutoff or switch the supply off by hand') as string,
  })

  it('where the supply does not answer', async () => {
    const bench = file()
    bench.instruments['psu']!.url = 'tcp://127.0.0.1:1'
    expect(await failure(bench)).toMatchObject(unknown('supply') as object)
  })

  it('where nothing tells whose the links are', async () => {
    writeFileSync(join(folder, 'file'), '')
    vi.stubEnv('XDG_RUNTIME_DIR', join(folder, 'file'))
    expect(await failure()).toMatchObject(unknown('expected a folder') as object)
    vi.unstubAllEnvs()
    expect(served.bench.instruments.psu.core.driven).toBe(true)
  })

  it('and leaves alone what another daemon holds', async () => {
    const lock = lockDataFolder(folder)
    expect(await failure()).toMatchObject({ code: 'REFUSED' })
    lock.release()
    expect(served.bench.instruments.psu.core.driven).toBe(true)
  })
})
