#!/usr/bin/env node
/** The program `nightbench`. */
import { exitCodes } from './cli/exit.ts'
import { runCli } from './cli/run-cli.ts'

// `nightbench export | head` closes our output while we write; that is no fault.
process.stdout.on('error', (error: NodeJS.ErrnoException) => {
  if (error.code === 'EPIPE') process.exit(process.exitCode ?? 0)
  process.stderr.write(`the answer could not be written: ${error.message}\n`)
  process.exit(exitCodes.fault)
})
// Nobody is left to be told of it.
process.stderr.on('error', () => {})
process.exitCode = await runCli(process.argv.slice(2))
