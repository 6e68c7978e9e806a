/** Each canary must take away what it names: a text, a limit or a trouble that moved on would disarm it unseen. */
import { readFileSync } from 'node:fs'
import ts from 'typescript'
import { describe, expect, it } from 'vitest'
import { packageFile } from '../../src/base/paths.ts'
import { Supervisor } from '../../src/safety/supervisor.ts'
import { canaries } from '../../nights/canaries.ts'
import { patternOf, rewritesOf } from '../../nights/canary.ts'
import { drawNight } from '../../nights/draw.ts'
import { replaced } from '../../nights/replaced.ts'
import { pair } from './acts.ts'
import { quick } from './bad-night.ts'
import { virtualBench } from './virtual-bench.ts'

const nightsMost = 200_000

/** What the build makes of the source of a built file, so that no stale build is judged. */
function built(file: string): string {
  const path = packageFile(file.replace(/^dist\//, '').replace(/\.js$/, '.ts'))
  const { target, module } = { target: ts.ScriptTarget.ESNext, module: ts.ModuleKind.ESNext }
  return ts.transpileModule(readFileSync(path, 'utf8'), { compilerOptions: { target, module } }).outputText
}

const rewrites = canaries.flatMap(canary => rewritesOf(canary).map(rewrite => [canary.mechanism, rewrite] as const))

describe('a canary that reads a file otherwise', () => {
  it.each(rewrites)('%s: finds its text there once, and changes it', (_mechanism, rewrite) => {
    const source = built(rewrite.file)
    const changed = replaced(source, rewrite)
    expect(changed).not.toBe(source)
    expect(ts.transpileModule(changed, { reportDiagnostics: true }).diagnostics).toEqual([])
  })

  it('is refused where its text is missing, or there twice', () => {
    const rewrite = { file: 'a.js', from: 'x = 1', to: 'x = 2' }
    expect(() => replaced('y = 1', rewrite)).toThrow('a.js has `x = 1` 0 times')
    expect(() => replaced('x = 1; x = 1', rewrite)).toThrow('2 times')
  })
})

describe('a canary that ignores limits', () => {
  it('names only ids that a night is armed with', async () => {
    const ids: string[] = []
    const arm = Supervisor.prototype.arm
    Supervisor.prototype.arm = function (limits, freshness, ceiling, nowMs, watches = []) {
      ids.push(...limits.map(({ id }) => id), ...watches.map(({ id }) => id))
      arm.call(this, limits, freshness, ceiling, nowMs, watches)
    }
    try {
      await (await virtualBench(pair(31), 31)).night({ parameters: { ...quick, soakS: 1 } })
    } finally { Supervisor.prototype.arm = arm }
    expect(ids.length).toBeGreaterThan(0)
    const named = canaries.flatMap(({ losses }) => losses.flatMap(({ ignores = [] }) => ignores))
    expect(named.filter(id => !ids.some(armed => patternOf(id).test(armed)))).toEqual([])
  })
})

describe('canaries', () => {
  it('each have a name of their own, and take something away', () => {
    expect(new Set(canaries.map(({ mechanism }) => mechanism)).size).toBe(canaries.length)
    for (const { mechanism, losses } of canaries) expect(losses.length, mechanism).toBeGreaterThan(0)
  })

  it('each have nights in the draw that can show them', () => {
    let unshown = [...canaries]
    for (let seed = 1; seed < nightsMost && unshown.length > 0; seed++) {
      const planned = drawNight(seed)
      unshown = unshown.filter(({ about }) => !about(planned))
    }
    expect(unshown.map(({ mechanism }) => mechanism)).toEqual([])
  })
})
