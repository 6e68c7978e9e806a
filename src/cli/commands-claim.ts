/** `claim`: reads one claim by hand; `unit-profile`: what a profile says, as understood. Need no daemon. */
import type { Command } from 'commander'
import { BenchError } from '../base/errors.ts'
import { ratingsOf, readClaim, type ReadClaim } from '../claims/read.ts'
import { claimsOf, loadUnitProfile } from '../claims/unit-file.ts'
import { claimWords } from '../claims/words.ts'
import { claimLines, unitProfileLines } from './claim-text.ts'
import type { Act } from './commands-bench.ts'
import { print, printJson, type CliContext, type CommonOptions } from './context.ts'
import { exitCodes, type ExitCode } from './exit.ts'
import { printable } from './table.ts'

interface ClaimFlags extends CommonOptions { unit?: string }

export function addClaimCommands(program: Command, context: CliContext, act: Act): void {
  act(program.command('claim')
    .argument('<words...>', 'what is printed, like: 40 W into 8 ohms at 1 % THD, 20 Hz to 20 kHz')
    .option('--unit <file>', 'unit profile: what is rated output, load and source there')
    .description('read one claim of a unit, and say what is assumed where nothing is printed'),
  (words: string[], options: ClaimFlags) => Promise.resolve(showClaim(context, words.join(' '), options)))
  act(program.command('unit-profile').argument('<file>', 'a unit profile: YAML or JSON')
    .description('show what a unit profile says: channels, stages, limits and their sources, claims'),
  (file: string, options: CommonOptions) => Promise.resolve(showUnitProfile(context, file, options)))
}

function showClaim(context: CliContext, words: string, options: ClaimFlags): ExitCode {
  const read = readClaim(words, options.unit === undefined ? [] : ratingsOf(loadUnitProfile(options.unit)))
  if (!read.ok) throw unreadable(read)
  const { claims, assumed } = read
  if (options.json) {
    printJson(context.out, { claims: claims.map(claim => ({ words: claimWords(claim), claim })), assumed })
  } else print(context.out, ...claimLines(claims, assumed).map(printable))
  return exitCodes.accepted
}

function unreadable({ problems, understood }: Extract<ReadClaim, { ok: false }>): BenchError {
  const lines = problems.map(({ column, expected, got }) =>
    got === 'none' ? `missing: ${expected}` : `column ${column}: expected ${expected}, got ${got}`)
  const so = understood.length === 0 ? [] : [`understood: ${understood.join(' | ')}`]
  return new BenchError('USAGE', ['this claim cannot be read', ...lines, ...so].join('\n  '), {
    problems: problems.map(problem => ({ file: 'the claim', path: '', ...problem })),
  })
}

function showUnitProfile(context: CliContext, file: string, options: CommonOptions): ExitCode {
  const profile = loadUnitProfile(file)
  const claims = claimsOf(profile)
  if (options.json) {
    printJson(context.out, {
      profile, claims: claims.map(one => ({ ...one, canonical: one.claims.map(claimWords) })),
    })
  } else print(context.out, ...unitProfileLines(profile, claims).map(printable))
  return exitCodes.accepted
}
