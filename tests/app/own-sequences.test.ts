import { chmodSync, existsSync, lstatSync, mkdirSync, mkdtempSync, readFileSync, realpathSync, rmSync, symlinkSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { virtualBench, type VirtualBench } from '../../benchmarks/virtual-bench.ts'
import { control } from '../../mocks/bench/control.ts'
import { scenarioHealthyRack } from '../../mocks/bench/scenarios.ts'
import { loadOwnSequences, type LoadedSequence } from '../../src/app/own-sequences.ts'
import { packageFile, packageRoot } from '../../src/base/paths.ts'
import { buildRecord } from '../../src/report/record.ts'
import { recordHtml } from '../../src/report/html.ts'
import { shippedSequences } from '../../src/sequences/index.ts'

const off = { supplyDriven: false, contactorClosed: false, relaysHeld: 0 }
let folder: string
beforeEach(() => { folder = join(mkdtempSync(join(tmpdir(), 'own-')), 'sequences'); mkdirSync(folder) })
afterEach(() => { rmSync(join(folder, '..'), { recursive: true }) })

const put = (name: string, text: string): string => {
  const path = join(folder, name)
  writeFileSync(path, text)
  return path
}
const load = async (): Promise<LoadedSequence[]> => await loadOwnSequences(folder, shippedSequences)

/** The example of the page that tells how to write one: what stands there is what runs here. */
const example = /```js\n([\s\S]*?)```/.exec(
  readFileSync(packageFile('docs', 'writing-a-sequence.md'), 'utf8')
)![1]!

/** A sequence up to `volts` whose run is `body`; `bench` and `parameters` are in scope. */
const going = (body: string, more = ''): string => `import { defineSequence, z } from 'nightbench/sequence'
export default defineSequence({
  name: 'going', summary: 'goes', energises: true, parameters: z.strictObject({}),
  plan: () => ({ targetV: 100, steps: [{ name: 'rise', busV: 100, minS: 100, maxS: 300 }] }),
  run: async (bench, parameters) => { ${body} }, ${more}
})
`

async function nightOf(text: string, count = 2): Promise<{
  bench: VirtualBench; state: string; words: string[]; id: string
}> {
  put('own.mjs', text)
  const [own] = await load()
  const bench = await virtualBench(
    scenarioHealthyRack(count, 5, { staleFraction: 0 }), 5, { sequences: [own!] }
  )
  const run = await bench.night({ sequence: own!.name })
  const words = (await bench.store.events(run.id)).map(({ text: said }) => said)
  expect(control(bench.sim, { do: 'state' })).toMatchObject(off)
  await bench.clock.run(bench.daemon.status().run === null ? Promise.resolve() : bench.daemon.close())
  return { bench, state: run.state, words, id: run.id }
}

describe('who may write a sequence', () => {
  it('loads no file, and nothing from a folder, that everybody may write: it is code', async () => {
    const file = put('going.mjs', going('await bench.rise({ to: 10 })'))
    expect(await load()).toHaveLength(1)
    chmodSync(file, 0o666)
    await expect(load()).rejects.toThrow('it is code: chmod o-w')
    chmodSync(file, 0o664)
    chmodSync(folder, 0o777)
    await expect(load()).rejects.toThrow('it is code: chmod o-w')
    chmodSync(folder, 0o755)
    expect(await load()).toHaveLength(1)
  })
})

describe('a sequence of a person\'s own', () => {
  it('goes through a night as the page shows it, and is graded by what it measured', async () => {
    const { bench, state, id } = await nightOf(example)
    expect(state).toBe('done')
    const results = await bench.store.results(id)
    expect(
      results.map(({ part, grade, disposition }) => [part, grade, disposition])
    ).toEqual([['R-01', 'accept', 'use'], ['R-02', 'accept', 'use']])
    expect(results[0]!.criteria[0]).toMatchObject({ name: 'leakage', unit: 'A' })
    const events = await bench.store.events(id)
    expect(events.filter(
      ({ kind, data }) => kind === 'touch' && data?.['verdict'] === 'dead'
    ).map(({ position }) => position).sort())
      .toEqual(['P01', 'P02'])
    const record = await buildRecord(bench.store, id)
    expect(record.run.setup['sequence']).toEqual({
      name: 'short-soak', origin: { file: join(folder, 'own.mjs'), hash: (await load())[0]!.origin.hash }
    })
    expect(
      record.instruments.find(({ name }) => name === 'relays')
    ).toMatchObject({ role: 'positions, bleed' })
    expect(recordHtml(record)).toContain((await load())[0]!.origin.hash)
  }, 60_000)

  it('ends dead when it throws with the bus up', async () => {
    const { bench, state, words, id } = await nightOf(going(`
      await bench.connect(); await bench.moveBus(80); throw new Error('the cat is on the bench')`))
    expect(state).toBe('tripped')
    expect(words.join('\n')).toContain('bench off: the cat is on the bench')
    expect(words, words.join('\n')).toContain('run tripped')
    expect(bench.daemon.status().latched?.text).toContain('the cat')
    const touched = (await bench.store.events(id)).filter(({ kind }) => kind === 'touch')
    expect(
      touched.map(({ position, data }) => [position, data?.['verdict']]).sort()
    ).toEqual([['P01', 'dead'], ['P02', 'dead']])
  }, 60_000)

  it('ends dead when it never ends, at the latest ten minutes after the longest time of its plan', async () => {
    const { bench, state, words } = await nightOf(
      going('await bench.connect(); await bench.moveBus(80); await new Promise(() => {})')
    )
    expect(state).toBe('tripped')
    expect(words.join('\n')).toMatch(
      /bench off: going has not ended after \d+ s, the longest its plan allows/
    )
    expect(bench.clock.monotonicMs() / 1000).toBeLessThan(3000)
  }, 60_000)

  it('ends at once when it is stopped, though it waits for something else', async () => {
    put('own.mjs', going('await bench.connect(); await new Promise(() => {})'))
    const bench = await virtualBench(scenarioHealthyRack(1, 5), 5, { sequences: await load() })
    bench.clock.after(100_000, () => { void bench.daemon.stop('enough') })
    expect((await bench.night({ sequence: 'going' })).state).toBe('stopped')
    expect(bench.clock.monotonicMs()).toBeLessThan(400_000)
    expect(control(bench.sim, { do: 'state' })).toMatchObject(off)
  }, 60_000)

  it.each([
    ['a voltage above its plan', 'await bench.connect(); await bench.moveBus(101)', /set-point above the envelope/],
    ['a rise faster than it declares', 'await bench.moveBus(50, 2)', /would rise too fast/],
    ['a voltage that is no number', `await bench.moveBus('50')`, /a bus voltage/],
    ['parts put on a live bus', 'await bench.moveBus(50); await bench.connect()', /parts are put on it at zero/],
    ['parts put on the bus twice', 'await bench.connect(); await bench.moveBus(0); await bench.connect()', /once a run/],
    ['the bridge on the bus', 'await bench.connect(); await bench.bridge(bench.parts[0])', /the bridge stays off it/],
    [
      'a part that is none of the run', 'bench.cannotTell({ ...bench.parts[0] }, "odd")', /no part of the run/
    ],
    ['a comparison without a limit', `bench.judge(bench.parts[0], [{ name: 'leakage', value: 1, u: 1, unit: 'A', source: 'none' }])`, /limitLow or limitHigh/],
  ])('is refused %s, and ends dead', async (_, body, words) => {
    const night = await nightOf(going(body), 1)
    expect(night.state).not.toBe('done')
    expect(night.words.join('\n')).toMatch(words)
  }, 60_000)

  it('energises nothing when it says so, whatever it tries', async () => {
    const quiet = `import { defineSequence, z } from 'nightbench/sequence'
export default defineSequence({
  name: 'quiet', summary: 'looks', energises: false, parameters: z.strictObject({ dare: z.boolean().default(false) }),
  plan: () => ({ steps: [{ name: 'look', busV: 0, minS: 10, maxS: 600 }] }),
  run: async (bench, { dare }) => {
    if (dare) await bench.moveBus(50)
    await bench.bleed()
    for (const part of bench.parts) {
      const reading = await bench.bridge(part)
      if (typeof reading === 'object' && reading) bench.judge(part, [{ name: 'capacitance', value: reading.capacitance.value,
        u: reading.capacitance.u, unit: 'F', limitLow: 30e-6, source: 'our choice' }])
    }
  },
})`
    const { bench, state, id } = await nightOf(quiet, 1)
    expect(state).toBe('done')
    expect((await bench.store.results(id)).map(({ grade }) => grade)).toEqual(['accept'])
    const daring = await bench.night({ sequence: 'quiet', parameters: { dare: true } })
    expect(daring.state).not.toBe('done')
    expect(
      (await bench.store.events(daring.id)).map(({ text }) => text).join('\n')
    ).toContain('energises nothing')
  }, 60_000)

  it('lays the bridge on a part whose charge was seen to leave, and on no other, though both may be touched', async () => {
    put('own.mjs', going(`
      await bench.connect(); await bench.moveBus(40); await bench.rest(60); await bench.bleed(); await bench.moveBus(0)
      globalThis.bridged = [await bench.bridge(bench.parts[0]), await bench.bridge(bench.parts[1])]`))
    const bench = await virtualBench(scenarioHealthyRack(2, 5, { staleFraction: 0 }), 5, { sequences: await load() })
    bench.sim.fixtureFault({ position: 'P02', kind: 'bleeder-open' })
    expect((await bench.night({ sequence: 'going' })).state).toBe('done')
    const { bridged } = globalThis as unknown as { bridged: unknown[] }
    expect(bridged).toEqual([
      expect.objectContaining({ capacitance: expect.anything() as unknown }),
      'its charge was not seen to leave: the bridge stays off it',
    ])
    for (const { bridgeMaxV } of bench.sim.audit().positions) expect(bridgeMaxV).toBeLessThan(3.5)
  }, 60_000)

  it('moves nothing any more once it has ended, though it left something running', async () => {
    const { bench, state } = await nightOf(going(`
      globalThis.late = bench; await bench.connect(); await bench.moveBus(20); await bench.bleed()`), 1)
    expect(state).toBe('done')
    const late = (globalThis as unknown as {
      late: { moveBus(v: number): Promise<void>; note(t: string): Promise<void> }
    }).late
    await expect(late.moveBus(10)).rejects.toMatchObject({ code: 'REFUSED' })
    await expect(late.note('still here')).rejects.toMatchObject({ code: 'REFUSED' })
    expect(control(bench.sim, { do: 'state' })).toMatchObject(off)
  }, 60_000)

  it('raises nothing any more once it has returned, while its parts are still on their way down', async () => {
    const { bench, state } = await nightOf(going(`
      globalThis.raised = []
      await bench.connect(); await bench.moveBus(40)
      void (async () => {
        await bench.rest(1)
        for (let i = 0; i < 20; i++) await bench.moveBus(90).then(() => globalThis.raised.push(90), () => {})
      })().catch(() => {})`), 1)
    expect(state).toBe('done')
    expect((globalThis as unknown as { raised: number[] }).raised).toEqual([])
    expect(bench.sim.audit().busMaxV).toBeLessThan(45)
    expect(control(bench.sim, { do: 'state' })).toMatchObject(off)
  }, 60_000)

  it('cannot do without the envelope: the plan refuses for it, and nothing is energised', async () => {
    put('own.mjs', going('await bench.connect()').replaceAll('100', '700'))
    const bench = await virtualBench(scenarioHealthyRack(1, 5), 5, { sequences: await load() })
    const plan = await bench.daemon.plan({ ...bench.request, sequence: 'going' })
    expect(plan.refusals.map(({ what }) => what)).toContain('target above the rating of the part')
    await expect(bench.night({ sequence: 'going' })).rejects.toMatchObject({ code: 'REFUSED' })
  }, 60_000)
})

describe('the folder of own sequences', () => {
  const failure = async (): Promise<string> => await load().then(
    () => 'it loaded', error => `${error.code} ${error.message}`
  )

  it('may be absent or empty', async () => {
    expect(await loadOwnSequences(join(folder, 'none'), shippedSequences)).toEqual([])
    expect(await load()).toEqual([])
    expect(existsSync(join(folder, 'node_modules'))).toBe(false)
  })

  it('gives each sequence with file and hash, by name of the file, and looks at nothing else', async () => {
    put('b.mjs', going(''))
    put('a.js', `export { default } from './b.mjs'`)
    put('notes.txt', 'no sequence')
    mkdirSync(join(folder, 'parts'))
    writeFileSync(join(folder, 'parts', 'helper.mjs'), 'throw new Error("never looked at")')
    expect(await failure()).toMatch(
      /b\.mjs: .*name: expected a name that no other sequence has, got going, as in .*a\.js/s
    )
    rmSync(join(folder, 'a.js'))
    const [own] = await load()
    expect(own).toMatchObject({ name: 'going', origin: { file: join(folder, 'b.mjs') } })
    expect(own!.origin.hash).toMatch(/^[0-9a-f]{16}$/)
    put('b.mjs', going('', '/* changed */'))
    expect((await load())[0]!.origin.hash).not.toBe(own!.origin.hash)
  })

  it.each([
    ['a syntax error', 'export default {', /own\.mjs.*expected a module that loads, got/s],
    ['an import that is not there', `import 'nothing-of-that-name'`, /expected a module that loads, got .*nothing-of-that-name/s],
    ['an error of its own', `throw new TypeError('half written')`, /got TypeError: half written/],
    ['no export', 'const a = 1', /default: expected a sequence as default export, made with defineSequence, got no export/],
    ['two exports and no default', 'export const a = 1, b = 2', /got only a, b/],
    ['an export that is none', 'export default 7', /own\.mjs.*expected .*got .*7/s],
    ['a missing run', going('').replace(/run: .*/, ''), /run: expected/],
    ['a run that is no function', going('').replace(/run: .*/, 'run: 7,'), /run: expected a function, got 7/],
    ['a key that nobody knows', going('', 'unarmed: true'), /unarmed/],
    ['a name with blanks', going('').replace(`'going'`, `'going up'`), /name: expected small letters, digits and hyphens/],
    ['a shipped name', going('').replace(`'going'`, `'reform'`), /name: expected a name that no other sequence has, got reform, as the shipped one/],
    ['a role nobody has', going('', `roles: ['kettle']`), /roles\[0\]: expected/],
    ['parameters that are no schema', going('').replace(
      'z.strictObject({})', '{}'
    ), /parameters: expected a zod schema/],
    ['a slew beyond reason', going('', 'slewVPerS: 500'), /slewVPerS: expected/],
  ])('is refused with %s, and says where and what', async (_, text, words) => {
    put('own.mjs', text)
    const said = await failure()
    expect(said).toMatch(/^FILE_INVALID /)
    expect(said).toContain(join(folder, 'own.mjs'))
    expect(said).toMatch(words)
  })

  it.each([
    ['no target', '({ steps: [] })', /targetV: expected the highest bus voltage, got nothing/],
    ['a step without a name', '({ targetV: 50, steps: [{ busV: 1, minS: 1, maxS: 2 }] })', /steps\[0\]\.name: expected/],
    ['nothing at all', 'undefined', /the plan of going/],
  ])('tells of a plan with %s when it is asked for', async (_, plan, words) => {
    put('own.mjs', going('').replace(/plan: .*/, `plan: () => ${plan},`))
    const bench = await virtualBench(scenarioHealthyRack(1, 5), 5, { sequences: await load() })
    await expect(bench.daemon.plan({ ...bench.request, sequence: 'going' })).rejects.toThrow(words)
  })

  it('refuses a step that goes above the target', async () => {
    put('own.mjs', going('').replace('busV: 100', 'busV: 120'))
    const bench = await virtualBench(scenarioHealthyRack(1, 5), 5, { sequences: await load() })
    const { refusals } = await bench.daemon.plan({ ...bench.request, sequence: 'going' })
    expect(refusals).toMatchObject([
      { what: 'step rise of the plan', need: expect.stringContaining('at most 100 V') as string }
    ])
  })

  it('holds a link to this program, mends one that points elsewhere, and touches nothing that is no link', async () => {
    put('own.mjs', going(''))
    const link = join(folder, 'node_modules', 'nightbench')
    await load()
    expect(realpathSync(link)).toBe(realpathSync(packageRoot))
    rmSync(link)
    symlinkSync(tmpdir(), link, 'junction')
    await load()
    expect(realpathSync(link)).toBe(realpathSync(packageRoot))
    rmSync(link)
    mkdirSync(link)
    expect(await failure()).toMatch(
      /expected a link to this program, which it makes by itself, got something else/
    )
    expect(lstatSync(link).isDirectory()).toBe(true)
  })
})
