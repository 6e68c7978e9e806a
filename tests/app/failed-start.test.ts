/** A start that fails leaves the bench off all the same: what killed the last daemon may have left the supply on. */
import { mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs'
import { connect } from 'node:net'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { setTimeout as pause } from 'node:timers/promises'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { scenarioHealthyRack } from '../../mocks/bench/scenarios.ts'
import { serveBench, type ServedBench } from '../../mocks/bench/serve-bench.ts'
import { openBench } from '../../src/app/open-bench.ts'
import { makeLog } from '../../src/base/log.ts'

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

async function failure(bench = file()): Promise<unknown> {
  const path = join(folder, 'bench.json')
  writeFileSync(path, JSON.stringify(bench))
  return await openBench(path, folder, makeLog('silent')).then(() => 'it opened', (error: unknown) => error)
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
})
