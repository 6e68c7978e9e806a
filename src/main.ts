#!/usr/bin/env node
/** The program `nightbench`. */
import { runCli } from './cli/run-cli.ts'

// `nightbench export | head` closes our output while we write; that is no fault.
process.stdout.on('error', (error: NodeJS.ErrnoException) => {
  if (error.code !== 'EPIPE') throw error
  process.exit(process.exitCode ?? 0)
})
process.exitCode = await runCli(process.argv.slice(2))
