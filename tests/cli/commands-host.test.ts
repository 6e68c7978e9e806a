import { describe, expect, it } from 'vitest'
import type { HostFinding } from '../../src/app/host-check.ts'
import { realContext } from '../../src/cli/context.ts'
import { runCli } from '../../src/cli/run-cli.ts'

async function checked(findings: HostFinding[], ...argv: string[]): Promise<{ exit: number; out: string }> {
  let out = ''
  const context = {
    ...realContext('ida'), env: { NIGHTBENCH_DATA: '/data' }, out: { write: (text: string) => { out += text } },
    loadHost: async () => ({ localHost: async () => findings }),
  }
  return { exit: await runCli(['host-check', ...argv], context), out }
}

const good: HostFinding = { check: 'clock', verdict: 'good', found: 'kept', mend: '' }
const of = (verdict: HostFinding['verdict']): HostFinding => ({ check: 'ports', verdict, found: 'looked at', mend: 'plug it in' })

describe('host-check', () => {
  it.each([['good', 0], ['warning', 1], ['cannot tell', 1], ['bad', 4]] as const)('with something %s ends with %i', async (verdict, exit) => {
    expect((await checked([good, of(verdict)])).exit).toBe(exit)
  })
  it('is bad where one thing is bad, whatever the others are', async () => {
    expect((await checked([of('warning'), of('bad'), of('cannot tell'), good])).exit).toBe(4)
  })
  it('says what was found and how to mend it, in words and as it is', async () => {
    const { out } = await checked([good, of('bad')])
    expect(out).toMatch(/ports +BAD +looked at/)
    expect(out).toMatch(/ports +plug it in/)
    expect((await checked([good])).out).not.toContain('mend it')
    expect(JSON.parse((await checked([good, of('bad')], '--json')).out)).toEqual([good, of('bad')])
  })
})
