/** `schema`: writes the JSON Schemas of the files people write. Needs no daemon. */
import { join } from 'node:path'
import type { Command } from 'commander'
import { makeFolder } from '../base/file-fault.ts'
import type { Act } from './commands-bench.ts'
import { print, printJson, type CliContext, type CommonOptions } from './context.ts'
import { exitCodes, type ExitCode } from './exit.ts'
import { fileSchemas } from './file-schemas.ts'
import { renderTable } from './table.ts'

export function addSchemaCommand(program: Command, context: CliContext, act: Act): void {
  act(program.command('schema').requiredOption(
    '--out <folder>', 'where to write them; made when it is not there'
  )
    .description('write JSON Schemas of bench file, profiles, rack list and policy, for editors'),
  async (options: CommonOptions & { out: string }) => await writeSchemas(context, options))
}

async function writeSchemas(
  context: CliContext, options: CommonOptions & { out: string }
): Promise<ExitCode> {
  makeFolder(options.out)
  const written: { file: string; of: string; bytes: number }[] = []
  for (const { file, of, schema } of fileSchemas()) {
    const path = join(options.out, file)
    written.push({
      file: path, of, bytes: await context.writeFile(path, [`${JSON.stringify(schema, null, 2)}\n`])
    })
  }
  if (options.json) printJson(context.out, written)
  else {
    print(context.out,
      ...renderTable(
        ['written', 'for'].map(heading => ({ heading })), written.map(({ file, of }) => [file, of])
      ), '',
      'Many editors take the schema of a YAML file from its first line, '
        + 'with the path as seen from that file:',
      `# yaml-language-server: $schema=${written[0]!.file}`)
  }
  return exitCodes.accepted
}
