/** The two commands that run a bench themselves: serve and demo. */
import type { Command } from 'commander'
import { dataFolderOf } from '../base/daemon-file.ts'
import { BenchError } from '../base/errors.ts'
import { logLevels } from '../base/log.ts'
import type { Act } from './commands-bench.ts'
import type { CliContext, CommonOptions } from './context.ts'
import { exitCodes, type ExitCode } from './exit.ts'
import { remoteViewOf, type RemoteFlags } from './remote-view.ts'

interface ServeFlags extends CommonOptions, RemoteFlags { bench: string; port: string; log: string }
interface DemoFlags extends CommonOptions { seed: string; job: string }

export const defaultPort = 7316
/** Of a view from elsewhere; the loopback port is a listener of its own. */
const remotePort = 7317

export function addLocalCommands(program: Command, context: CliContext, act: Act): void {
  act(program.command('demo').option('--seed <text>', 'the same seed gives the same parts', '1974')
    .option('--job <name>', 'forming, the main job, screening, or unit', 'forming')
    .description('form a simulated rack through a night in a minute or two, screen the parts of an '
      + 'amplifier, or power, burn in and prove it; needs no instruments'),
  async (options: DemoFlags) => {
    const { runDemo } = await context.loadDemo()
    const { seed, job, data } = options
    return exitOf(await runDemo({ job, seed, json: options.json === true, out: streamOf(context), data }))
  })

  act(program.command('serve').requiredOption('--bench <file>', 'the bench file')
    .option('--port <number>', 'where to listen on the loopback address', String(defaultPort))
    .option('--listen <address:port>',
      'also show the bench to others, who may look and stop; needs a token and TLS')
    .option('--token-file <file>', 'for --listen: what new-token wrote')
    .option('--tls-cert <file>', 'for --listen: certificate, PEM')
    .option('--tls-key <file>', 'for --listen: its key, PEM')
    .option('--behind-proxy <https://name>', 'for --listen: a proxy ends TLS, and this is its address')
    .option('--log <level>', logLevels.join(', '), 'info')
    .description('run the daemon: make the bench safe, then accept work'),
  async (options: ServeFlags) => {
    const port = portOf(options.port)
    if (!(logLevels as readonly string[]).includes(options.log)) {
      throw new BenchError(
        'USAGE', 'there is no such log level', { expected: logLevels.join(', '), got: options.log }
      )
    }
    const { serve } = await context.loadServe()
    return exitOf(await serve({
      bench: options.bench, data: dataFolderOf(options.data, context.env), port, log: options.log,
      remote: remoteViewOf(remoteFlags(options), remotePort), out: streamOf(context),
      json: options.json === true,
    }))
  })
}

function remoteFlags({ listen, tokenFile, tlsCert, tlsKey, behindProxy }: ServeFlags): RemoteFlags {
  const flags = { listen, tokenFile, tlsCert, tlsKey, behindProxy }
  return Object.fromEntries(Object.entries(flags).filter(([, value]) => value !== undefined)) as RemoteFlags
}

function portOf(text: string): number {
  const port = Number(text)
  if (/^\d{1,5}$/.test(text) && port <= 65_535) return port
  throw new BenchError('USAGE', 'this is no port', { expected: '0 to 65535', got: text })
}

const streamOf = (context: CliContext): NodeJS.WritableStream => context.out as NodeJS.WritableStream

function exitOf(code: number | void): ExitCode {
  return Object.values(exitCodes).find(known => known === code)
    ?? (code === undefined ? exitCodes.accepted : exitCodes.fault)
}
