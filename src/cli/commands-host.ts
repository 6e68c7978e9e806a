/** `host-check`: whether this computer is fit for a night, and how to make it so. Needs no daemon. */
import type { Command } from 'commander'
import { dataFolderOf } from '../base/daemon-file.ts'
import type { HostFinding } from '../app/host-check.ts'
import type { Act } from './commands-bench.ts'
import { print, printJson, type CliContext, type CommonOptions } from './context.ts'
import { exitCodes, type ExitCode } from './exit.ts'
import { renderTable } from './table.ts'

export function addHostCommand(program: Command, context: CliContext, act: Act): void {
  act(program.command('host-check').option('--bench <file>', 'look at the ports of this bench alone')
    .description('look whether this computer is fit for a night, and how to make it so'),
  async (options: CommonOptions & { bench?: string }) => {
    const { localHost } = await context.loadHost()
    const findings = await localHost(options.bench, dataFolderOf(options.data, context.env))
    if (options.json) printJson(context.out, findings)
    else print(context.out, ...lines(findings))
    return exitOf(findings)
  })
}

/** 4 where something is bad, 1 where something could be better or was not to be seen. */
function exitOf(findings: readonly HostFinding[]): ExitCode {
  if (findings.some(({ verdict }) => verdict === 'bad')) return exitCodes.fault
  return findings.every(({ verdict }) => verdict === 'good') ? exitCodes.accepted : exitCodes.notAccepted
}

function lines(findings: readonly HostFinding[]): string[] {
  const mends = findings.filter(({ mend }) => mend !== '')
  return [
    ...renderTable(['check', 'verdict', 'found'].map(heading => ({ heading })),
      findings.map(({ check, verdict, found }) => [check, verdict === 'bad' ? 'BAD' : verdict, found])),
    ...(mends.length === 0 ? [] : ['', ...renderTable(['check', 'mend it'].map(heading => ({ heading })),
      mends.map(({ check, mend }) => [check, mend]))]),
  ]
}
