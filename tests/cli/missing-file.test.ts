import { join } from 'node:path'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { openCli, type Cli } from './fake-cli.ts'

let cli: Cli
beforeEach(async () => { cli = await openCli() })
afterEach(async () => await cli.close())

describe('a command that is given a file it cannot use', () => {
  it.each([
    [['plan', 'reform', '--parts'], 'rack.csv', 'a rack list'], [['start', 'reform', '--parts'], 'rack.yaml', 'a rack list'],
    [['report', 'R1', '-o'], join('none', 'r.html'), 'a file in a folder that is there'],
    [['export', 'R1', '-o'], join('none', 'r.csv'), 'a file in a folder that is there'],
    [['serve', '--bench', 'b', '--listen', '127.0.0.1', '--behind-proxy', 'https://x', '--token-file'], 'token', 'a token file'],
    [['schema', '--out'], join('daemon.json', 'x'), 'a folder'],
    [['new-token', '--out'], 'daemon.json', 'a new file'],
  ] as const)('%j says where, what belongs there and what is there', async (argv, name, expected) => {
    const path = join(cli.folder, name)
    const { exit, err } = await cli.run(...argv, path)
    expect(exit).toBe(2)
    expect(err).toMatch(new RegExp(`^${path}: cannot be (read|written|made): expected ${expected}, got `))
    expect(err).not.toMatch(/\bE[A-Z]{3,}\b/)
    expect(cli.app.calls).toEqual([])
  })
})
