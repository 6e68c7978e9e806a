/**
 * What screening says of simulated parts whose truth is known, by kind and defect: `npm run confusion -- --count 200
 * --seed 1 [--kinds a,b] [--json]`. Methods and grades are the program's; readings are the physics with the errors of `physics-jig.ts`.
 */
import { parseArgs } from 'node:util'
import { defectsOf, usualRatings, type ComponentKind, type Defect } from '../mocks/components/kinds.ts'
import { makeComponent } from '../mocks/components/make-component.ts'
import type { Grade } from '../src/schema/run.ts'
import { prove } from '../src/screening/at-jig.ts'
import { judge } from '../src/screening/grade.ts'
import { asked, kinds } from './asked-parts.ts'
import { PhysicsJig } from './physics-jig.ts'

export interface Confusion {
  readonly kind: ComponentKind
  /** Null: sound. */
  readonly defect: Defect | null
  readonly grades: Readonly<Record<Grade, number>>
  /** What was said in place of a grade by limits, and how often: a short, a poor contact, lying the other way round. */
  readonly said: Readonly<Record<string, number>>
}

/** `count` parts of every kind and defect, each drawn by `seed` and its number. */
export async function confusionOf(count: number, seed: number, of: readonly ComponentKind[] = kinds): Promise<Confusion[]> {
  const rows: Confusion[] = []
  for (const kind of of) for (const defect of [null, ...defectsOf[kind]]) rows.push(await rowOf(kind, defect, count, seed))
  return rows
}

async function rowOf(kind: ComponentKind, defect: Defect | null, count: number, seed: number): Promise<Confusion> {
  const grades: Record<Grade, number> = { accept: 0, marginal: 0, reject: 0, 'cannot tell': 0 }
  const said: Record<string, number> = {}
  for (let i = 1; i <= count; i++) {
    const one = seed * 1_000_000 + i
    const part = makeComponent(kind, usualRatings[kind], one, defect ? { defect } : {})
    const item = { id: String(i), part: asked[kind]! }
    const jig = new PhysicsJig(part, one)
    const proof = await prove(jig, item, {}, jig.guide)
    grades[judge(item, proof, []).grade]++
    if (proof.fault) said[proof.fault.is] = (said[proof.fault.is] ?? 0) + 1
  }
  return { kind, defect, grades, said }
}

/** With a decimal where it is not all: one part in a thousand must not vanish in a hundred per cent. */
const percent = (n: number, of: number): string => n === 0 ? '·' : n === of ? '100 %' : `${(100 * n / of).toFixed(1)} %`

/** A table in markdown; shares of the parts of one row. */
export function confusionLines(rows: readonly Confusion[], count: number): string[] {
  return ['| kind | truth | accept | marginal | reject | cannot tell | said |', '| --- | --- | --- | --- | --- | --- | --- |',
    ...rows.map(({ kind, defect, grades, said }) => {
      const shares = (['accept', 'marginal', 'reject', 'cannot tell'] as const).map(grade => percent(grades[grade], count))
      const words = Object.entries(said).sort((a, b) => b[1] - a[1]).map(([what, n]) => `${what} ${percent(n, count)}`).join(', ')
      return `| ${[kind, defect ?? 'sound', ...shares, words].join(' | ')} |`
    })]
}

if (process.argv[1]?.endsWith('confusion.js')) {
  const { values } = parseArgs({ options: {
    count: { type: 'string', default: '200' }, seed: { type: 'string', default: '1' }, kinds: { type: 'string' }, json: { type: 'boolean', default: false },
  } })
  const rows = await confusionOf(Number(values.count), Number(values.seed),
    kinds.filter(kind => values.kinds === undefined || values.kinds.split(',').includes(kind)))
  console.log(confusionLines(rows, Number(values.count)).join('\n'))
  if (values.json) console.log(JSON.stringify(rows))
}
