import { execFileSync, spawn } from 'node:child_process'
import { existsSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import fc from 'fast-check'
import { afterAll, describe, expect, it } from 'vitest'
import { z } from 'zod'
import { BenchError, hasCode } from '../../src/base/errors.ts'
import { benchFile } from '../../src/schema/bench.ts'
import { partProfile } from '../../src/schema/part-profile.ts'
import { fileBytesMax, loadFile, parseText, parseWith } from '../../src/schema/read-file.ts'

const folder = mkdtempSync(join(tmpdir(), 'nightbench-read-'))
afterAll(() => rmSync(folder, { recursive: true, force: true }))

function fileOf(name: string, content: string | Uint8Array): string {
  const path = join(folder, name)
  writeFileSync(path, content)
  return path
}

function problemsOf(schema: z.ZodType, text: string, file = 'bench.yaml') {
  const parsed = parseText(schema, text, file)
  if (parsed.ok) throw new Error('expected problems')
  return parsed.problems
}

const part = {
  name: 'al-450v-47u', kind: 'aluminium-electrolytic', capacitanceF: 47e-6, ratedV: 450,
  leakage: { family: 'general' }, dissipationMax: 0.2,
}

const small = z.strictObject({
  limitOhm: z.number().positive(),
  positions: z.array(z.strictObject({ name: z.string(), relay: z.number().int().min(0) })).default([]),
  target: z.union(
    [z.string(), z.strictObject({ instrument: z.string(), relay: z.number().optional() })]
  ).optional(),
  thing: z.discriminatedUnion('class', [
    z.strictObject({ class: z.literal('meter'), rangeV: z.number() }),
    z.strictObject({ class: z.literal('supply'), ratedV: z.number() }),
  ]).optional(),
})

describe('reading a file', () => {
  it('tells the nearest role for one that is none', () => {
    const problems = problemsOf(benchFile, 'roles: { suply: psu }\n')
    expect(problems.find(({ path }) => path === 'roles.suply')?.expected).toContain('did you mean supply?')
  })

  it('gives the value of a valid YAML and of a valid JSON file', () => {
    const yaml = fileOf('good.yaml', 'limitOhm: 100e3\npositions:\n  - { name: P01, relay: 1 }\n')
    const json = fileOf('good.json', '{"limitOhm": 100000, "positions": [{"name": "P01", "relay": 1}]}')
    const expected = { limitOhm: 100e3, positions: [{ name: 'P01', relay: 1 }] }
    expect(loadFile(yaml, small)).toEqual(expected)
    expect(loadFile(json, small)).toEqual(expected)
  })

  it('says everything that is wrong at once, each with its dotted path and line', () => {
    const text = 'limitOhm: 0\npositions:\n  - name: P01\n    relay: 1\n'
      + '  - name: P02\n    relay: -4\n  - name: 3\n    relay: 2\n'
    const problems = problemsOf(small, text)
    expect(problems.map(p => [p.path, p.line, p.column])).toEqual([
      ['limitOhm', 1, 1], ['positions[1].relay', 6, 5], ['positions[2].name', 7, 5],
    ])
    expect(problems[0]).toMatchObject({ file: 'bench.yaml', expected: 'more than 0 ohms', got: '0' })
    expect(problems[2]).toMatchObject({ expected: 'text', got: '3' })
  })

  it('shows a number that came as text as it came, and counts characters of texts only', () => {
    const [tooSmall] = problemsOf(z.strictObject({ limit: z.coerce.number().min(1) }), "limit: '0'\n")
    expect(tooSmall).toMatchObject({ expected: 'at least 1', got: '"0"' })
    const [tooShort] = problemsOf(z.strictObject({ person: z.string().min(3) }), "person: 'ab'\n")
    expect(tooShort).toMatchObject({ expected: 'at least 3 characters', got: '2: "ab"' })
  })

  it('refuses an unknown key and names the nearest known one', () => {
    const [problem] = problemsOf(small, 'limitOhm: 1\npositons: []\n')
    expect(problem).toMatchObject({ path: 'positons', line: 2 })
    expect(problem!.expected).toContain('did you mean positions?')
  })

  it('names the nearest key deep inside lists, defaults and unions', () => {
    const [inList] = problemsOf(small, 'limitOhm: 1\npositions: [{ name: P01, relay: 1, nme: x }]\n')
    expect(inList).toMatchObject({ path: 'positions[0].nme' })
    expect(inList!.expected).toContain('did you mean name?')
    const [inUnion] = problemsOf(small, 'limitOhm: 1\ntarget: { instrument: board, rely: 3 }\n')
    expect(inUnion!.expected).toContain('did you mean relay?')
    const [chosen] = problemsOf(small, 'limitOhm: 1\nthing: { class: supply, ratedV: 3, ratdV: 1 }\n')
    expect(chosen!.expected).toContain('did you mean ratedV?')
  })

  it('does not guess when no known key is near', () => {
    const [problem] = problemsOf(small, 'limitOhm: 1\nzzzzzzzzzzzz: 2\n')
    expect(problem!.expected).not.toContain('did you mean')
  })

  it('says which unit is expected where a quantity with a unit is written, and the number to write', () => {
    const cases: [string, string, string][] = [
      ['capacitanceF', '100 uF', '0.0001'], ['capacitanceF', '47µF', '0.000047'], ['ratedV', '450 V', '450'],
      ['ratedV', '0.45kV', '450'],
    ]
    for (const [field, text, plain] of cases) {
      const parsed = parseWith(partProfile, { ...part, [field]: text }, { file: 'p.yaml' })
      expect(parsed.ok).toBe(false)
      if (parsed.ok) continue
      expect(parsed.problems).toHaveLength(1)
      expect(parsed.problems[0]!.expected).toContain(field === 'ratedV' ? 'volts' : 'farads')
      expect(parsed.problems[0]!.expected).toContain(`write ${plain}`)
    }
  })

  it('does not convert a quantity of another kind, but still says the unit', () => {
    const parsed = parseWith(partProfile, { ...part, capacitanceF: '47 kohm' }, { file: 'p.yaml' })
    expect(parsed).toMatchObject(
      { ok: false, problems: [{ expected: 'a number in farads', got: '"47 kohm"' }] }
    )
  })

  it('says what is required when a key is missing', () => {
    const [problem] = problemsOf(small, 'positions: []\n')
    expect(problem).toMatchObject(
      { path: 'limitOhm', expected: 'a number in ohms, which is required', got: 'nothing' }
    )
  })

  it('lists the known values of a tag that chooses a shape', () => {
    const [problem] = problemsOf(small, 'limitOhm: 1\nthing: { class: metre, rangeV: 3 }\n')
    expect(problem).toMatchObject({ path: 'thing.class', got: '"metre"' })
    expect(problem!.expected).toBe('one of "meter", "supply"')
  })

  it('names both forms when a value fits neither form of a union', () => {
    const [problem] = problemsOf(small, 'limitOhm: 1\ntarget: 3\n')
    expect(problem).toMatchObject({ path: 'target', expected: 'text or a group of keys', got: '3' })
  })

  it.each([['thing.yaml', 'a:\n  __proto__: 1\n', 2, 3], ['thing.json', '{"a": {"__proto__": {"b": 1}}}', 1, 8]])(
    'refuses in %s a key that would vanish without a word', (file, text, line, column) => {
      expect(parseText(z.strictObject({ a: z.record(z.string(), z.unknown()) }), text, file)).toMatchObject({
        ok: false, problems: [{ line, column, got: 'the key "__proto__"' }],
      })
    })

  it('tells line and column of broken YAML and refuses double keys in both languages', () => {
    expect(problemsOf(small, 'limitOhm: 1\nbad: [\n')[0]!.line).toBeGreaterThan(1)
    expect(problemsOf(small, 'limitOhm: 1\nlimitOhm: 2\n')[0]).toMatchObject({ line: 2, expected: 'YAML' })
    expect(
      problemsOf(small, '{"limitOhm": 1,\n"limitOhm": 2}', 'x.json')[0]
    ).toMatchObject({ line: 2, expected: 'JSON' })
    expect(problemsOf(small, 'limitOhm: 1', 'x.json')[0]).toMatchObject({ expected: 'JSON' })
  })

  it('throws FILE_INVALID with every problem in message and context', () => {
    const path = fileOf('bad.yaml', 'limitOhm: 1 MOhm\npositons: []\n')
    try {
      loadFile(path, small)
      expect.unreachable()
    } catch (error) {
      expect(hasCode(error, 'FILE_INVALID')).toBe(true)
      const bad = error as BenchError
      expect(bad.context.problems).toHaveLength(2)
      expect(bad.message).toContain('positions?')
      expect(bad.message).toContain('ohms')
      expect(bad.toJSON().context.problems).toHaveLength(2)
    }
  })

  it('throws FILE_UNREADABLE for a missing file, a folder, a device and text that is not UTF-8', () => {
    const latin = fileOf('latin.yaml', Uint8Array.of(0x61, 0x3a, 0xe9, 0x0a))
    for (const path of [join(folder, 'none.yaml'), folder, '/dev/null', latin]) {
      expect(() => loadFile(path, small)).toThrow(
        expect.objectContaining({ code: 'FILE_UNREADABLE' }) as Error
      )
    }
  })

  it.skipIf(process.platform === 'win32')('refuses a pipe with a name without waiting for one who writes to it', () => {
    const [pipe, opened] = [join(folder, 'pipe.yaml'), join(folder, 'opened')]
    execFileSync('mkfifo', [pipe])
    const writer = spawn('sh', ['-c', 'sleep 3; : > "$1"; : > "$0"', pipe, opened], { stdio: 'ignore' })
    try {
      expect(() => loadFile(pipe, small)).toThrow('got not a regular file')
    } finally {
      writer.kill()
    }
    expect(existsSync(opened)).toBe(false)
  })

  it('refuses a file over the size limit and takes one at the limit', () => {
    const head = 'limitOhm: 1\n#'
    const atLimit = fileOf('limit.yaml', head + 'x'.repeat(fileBytesMax - head.length))
    const over = fileOf('over.yaml', head + 'x'.repeat(fileBytesMax - head.length + 1))
    expect(loadFile(atLimit, small)).toMatchObject({ limitOhm: 1 })
    expect(() => loadFile(over, small)).toThrow(expect.objectContaining({ code: 'FILE_INVALID' }) as Error)
  })

  it('refuses a bomb of aliases and very deep nesting instead of growing or crashing', () => {
    const levels = Array.from(
      { length: 12 }, (_, i) => `l${i + 1}: &l${i + 1} [${Array(9).fill(`*l${i}`).join(', ')}]`
    )
    const bomb = `l0: &l0 [x, x, x]\n${levels.join('\n')}\n`
    expect(problemsOf(small, bomb)[0]!.expected).toContain('aliases')
    expect(parseText(small, '['.repeat(100_000), 'deep.yaml').ok).toBe(false)
    expect(parseText(small, '{"a":'.repeat(50_000) + '1' + '}'.repeat(50_000), 'deep.json').ok).toBe(false)
  })

  it('takes a large honest file and refuses a monstrous one quickly', () => {
    const positions = Array.from({ length: 480 }, (_, i) => ({ name: `P${i}`, relay: i }))
    const whole = JSON.stringify({ limitOhm: 1, positions })
    for (const file of ['rack.json', 'rack.yaml']) expect(parseText(small, whole, file).ok, file).toBe(true)
    const spaced = JSON.stringify({ limitOhm: 1, positions }, null, 1).replaceAll('\n', ' ')
    expect(parseText(small, spaced, 'rack.yaml').ok).toBe(true)
    const monsters = ['"'.repeat(fileBytesMax), '- '.repeat(fileBytesMax / 2), ': : :\n'.repeat(150_000),
      Array.from({ length: 80_000 }, (_, i) => `k${i}: 1`).join('\n')]
    for (const text of monsters) expect(problemsOf(small, text)[0]!.expected).toContain('a plain file')
  })

  it('never throws anything but BenchError, whatever the text', () => {
    const words = fc.constantFrom('limitOhm', 'positions', ':', '\n', '  ', '- ', '[', ']', '{', '}', '&a ',
      '*a', '!!js ', '"', "'", '|', '>', '1e9', '__proto__', '? ', '<<', '%YAML', '---', '\t', '#', '\u0000',
      '\ufeff')
    const text = fc.oneof(
      fc.string({ unit: 'binary', maxLength: 200 }), fc.array(words, { maxLength: 60 }).map(w => w.join(''))
    )
    let index = 0
    fc.assert(fc.property(text, fc.constantFrom('yaml', 'json'), fc.constantFrom(
      small, benchFile, partProfile
    ),
      (content, ending, schema) => {
        const path = fileOf(`any${index++ % 4}.${ending}`, content)
        try {
          loadFile(path, schema as z.ZodType)
        } catch (error) {
          expect(error).toBeInstanceOf(BenchError)
        }
      }), { numRuns: 1500 })
  })

  it('gives back what was written, for any valid value, in YAML flow form and in JSON', () => {
    const valid = fc.record({
      limitOhm: fc.double({ min: 1e-3, max: 1e12, noNaN: true }),
      positions: fc.array(fc.record({ name: fc.string(), relay: fc.nat() }), { maxLength: 5 }),
    })
    fc.assert(fc.property(valid, fc.constantFrom('a.yaml', 'a.json'), (value, file) => {
      expect(parseText(small, JSON.stringify(value), file)).toEqual({ ok: true, value })
    }))
  })

  it('refuses braces within braces at once: the parser takes twice as long for each', () => {
    const parsed = parseText(z.unknown(), `${'{'.repeat(16)}16v-${'{'.repeat(16)}x`, 'part.yaml')
    expect(parsed).toMatchObject({ ok: false, problems: [{ got: 'more than 12 levels' }] })
  })
})
