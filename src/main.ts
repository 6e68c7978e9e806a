#!/usr/bin/env node
/** The program `nightbench`. */
import { runCli } from './cli/run-cli.ts'

process.exitCode = await runCli(process.argv.slice(2))
