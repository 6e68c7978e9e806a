/** The command line over an application in memory, with what it says kept. */
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { buildApi, listen, type Api } from '../../src/api/build.ts'
import { RealClock } from '../../src/base/clock.ts'
import { writeDaemonNote } from '../../src/base/daemon-file.ts'
import type { CliContext } from '../../src/cli/context.ts'
import { runCli } from '../../src/cli/run-cli.ts'
import { writeFile } from '../../src/cli/write-file.ts'
import type { PortEntry, SafeOffReport } from '../../src/schema/application.ts'
import { FakeApplication } from '../api/fake-application.ts'

export const keeperReport: SafeOffReport = {
  reason: 'smoke', atWallMs: 0, sentMs: 3, verifiedMs: 40,
  links: [{ link: 'cutoff', sent: true, freshLink: false, verified: true, note: '' }],
}
export const localPort: PortEntry = {
  path: '/dev/usbtmc0', kind: 'usbtmc', url: 'usbtmc:/dev/usbtmc0', links: [], usb: null, says: '', note: '', inBench: null,
}

export interface Cli {
  app: FakeApplication; api: Api
  /** The data folder, with the note of a daemon. */
  folder: string
  context: CliContext & { keeper: string[]; keeperFails: Error | null }
  run(...argv: string[]): Promise<{ exit: number; out: string; err: string }>
  /** A rack list of one part. */
  rack(): string
  close(): Promise<void>
}

export async function openCli(): Promise<Cli> {
  const app = await FakeApplication.make()
  const id = 'the-daemon-of-this-test'
  const api = buildApi(app, { id })
  const folder = mkdtempSync(join(tmpdir(), 'cli-'))
  writeDaemonNote(folder, { url: await listen(api, { port: 0 }), pid: 1, id })
  const said: string[] = []
  const complained: string[] = []
  const context = fakeContext(app, folder, said, complained)
  return {
    app, api, folder, context,
    run: async (...argv) => {
      const exit = await runCli(argv, context)
      return { exit, out: said.splice(0).join(''), err: complained.splice(0).join('') }
    },
    rack: () => {
      const path = join(folder, 'rack.csv')
      writeFileSync(path, 'position,part,profile\nP01,C1,can-450v\n')
      return path
    },
    close: async () => {
      await api.close()
      await app.close()
      rmSync(folder, { recursive: true })
    },
  }
}

function fakeContext(
  app: FakeApplication, folder: string, said: string[], complained: string[],
): Cli['context'] {
  const context: Cli['context'] = {
    keeper: [], keeperFails: null,
    out: { write: text => said.push(text) }, err: { write: text => complained.push(text) },
    env: { NIGHTBENCH_DATA: folder }, user: 'ida', clock: new RealClock(), writeFile,
    stopByKeeper: async (_, reason) => {
      context.keeper.push(reason)
      if (context.keeperFails) throw context.keeperFails
      return keeperReport
    },
    lastEndOf: async () => null,
    loadServe: async () => ({
      serve: async options => { app.calls.push({ name: 'serve', argument: options }) }
    }),
    loadPorts: async () => ({
      localPorts: benchPath => ({
        list: async () => [{ ...localPort, inBench: benchPath === undefined ? null : `psu of ${benchPath}` }],
        probe: async url => ({
          url, identity: url.includes('here') && !url.includes('nowhere') ? 'A,B,1,2' : null, problem: null, entered: null, profiles: [],
        }),
      }),
    }),
    loadHost: async () => ({ localHost: async () => [] }),
    loadDemo: async () => ({
      runDemo: async options => { app.calls.push({ name: 'demo', argument: options }); return 1 }
    }),
  }
  return context
}
