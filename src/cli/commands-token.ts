/** `new-token`: makes the token of a remote view. */
import { mkdirSync, writeFileSync } from 'node:fs'
import { dirname, join } from 'node:path'
import type { Command } from 'commander'
import { dataFolderOf } from '../base/daemon-file.ts'
import { fileFault } from '../base/file-fault.ts'
import { hashOfToken, newToken } from '../base/token.ts'
import type { Act } from './commands-bench.ts'
import { print, printJson, type CliContext, type CommonOptions } from './context.ts'
import { exitCodes, type ExitCode } from './exit.ts'

export function addTokenCommand(program: Command, context: CliContext, act: Act): void {
  act(program.command('new-token')
    .option('--out <file>', 'where its hash goes; token in the data folder when left out')
    .description('make a token for a view from elsewhere; shown once, its hash is kept'),
  async (options: CommonOptions & { out?: string }) => {
    const file = options.out ?? join(dataFolderOf(options.data, context.env), 'token')
    return makeToken(context, file, options.json === true)
  })
}

/** A file that is there is left alone: those who hold its token would be locked out. */
function makeToken(context: CliContext, file: string, json: boolean): ExitCode {
  const token = newToken()
  try {
    mkdirSync(dirname(file), { recursive: true })
    writeFileSync(file, `${hashOfToken(token)}\n`, { mode: 0o600, flag: 'wx' })
  } catch (error) {
    throw fileFault(file, 'cannot be written', 'a new file', error)
  }
  if (json) printJson(context.out, { token, file })
  else {
    print(context.out, token)
    print(context.err, `This is shown once. ${file} holds its hash, for --token-file.`)
  }
  return exitCodes.accepted
}
