/** What a bench file must say of its fixture beyond its schema. */
import type { BenchFile } from '../schema/bench.ts'
import { changeoverKeys } from '../schema/fixture.ts'
import type { Problem } from '../schema/read-file.ts'

/** Every name, relay and scanner channel once. */
export function lines({ fixture }: BenchFile, file: string): Problem[] {
  const list: Problem[] = []
  const seen = new Map<string, string>()
  fixture.positions.forEach((position, index) => {
    const named: [string, string | number | undefined][] = [
      ['name', position.name], ['relay', position.relay], ['formalRelay', position.formalRelay],
      ['bridgeRelay', position.bridgeRelay], ['sense', position.sense],
    ]
    for (const [key, value] of named) {
      if (value === undefined) continue
      const id = key === 'sense' || key === 'name' ? `${key} ${value}` : `relay ${value}`
      const path = `fixture.positions[${index}].${key}`
      const before = seen.get(id)
      if (before) list.push({ file, path, expected: 'each used once', got: `${id}, as at ${before}` })
      else seen.set(id, path)
    }
  })
  if (fixture.kind === 'single' && fixture.positions.length > 1) {
    list.push({
      file, path: 'fixture.positions', expected: 'one position for a single fixture',
      got: String(fixture.positions.length),
    })
  }
  return list
}

/**
 * A rack changes its parts over between bus and bleeder. One part may be wired to the
 * bus for good; then nothing else is.
 */
export function changeover({ fixture, roles }: BenchFile, file: string): Problem[] {
  const list: Problem[] = []
  const lacks = (path: string, expected: string): void => { list.push({ file, path, expected, got: 'none' }) }
  if (fixture.kind === 'single' && roles.positions === undefined) {
    const needless = [...changeoverKeys, 'formalOhm', 'watchOhm', 'dummyOhm'] as const
    for (const key of needless) {
      if (fixture[key] !== undefined) {
        list.push({
          file, path: `fixture.${key}`, expected: 'none on a single fixture without a `positions` role',
          got: String(fixture[key]),
        })
      }
    }
    return list
  }
  const why = fixture.kind === 'rack' ? 'a rack has it' : 'a fixture with a `positions` role has it'
  for (const role of ['positions', 'bus-meter'] as const) if (roles[role] === undefined) {
    lacks(`roles.${role}`, why)
  }
  if (fixture.positions.length > 1 && roles.scanner === undefined) {
    lacks('roles.scanner', 'more than one position needs it')
  }
  for (const key of changeoverKeys) if (fixture[key] === undefined) lacks(`fixture.${key}`, why)
  fixture.positions.forEach(({ relay, sense }, index) => {
    if (relay === undefined) lacks(`fixture.positions[${index}].relay`, why)
    if (sense === undefined && roles.scanner !== undefined) {
      lacks(`fixture.positions[${index}].sense`, 'a fixture with a scanner has it')
    }
  })
  return list
}

/** What leads to the jig has its role, its relays and a board that moves them, each relay once. */
export function jigProblems({ jig, roles }: BenchFile, file: string): Problem[] {
  if (!jig) return []
  const list: Problem[] = []
  const say = (path: string, expected: string, got: string): void => {
    list.push({ file, path, expected, got })
  }
  const names = ['bridge', 'ohm-meter', 'source', 'second-source'] as const
  if (!jig.leads) {
    const wired = names.filter(name => roles[name] !== undefined)
    const got = wired.join(', ') || 'none'
    if (wired.length !== 1) say('jig.leads', 'relays, or one instrument that is wired for good', got)
    if (jig.terminals !== 2) {
      say('jig.terminals', '2 where nothing is led by relays', String(jig.terminals))
    }
    if (jig.joint) say('jig.joint', '`leads` by relays beside it', 'none')
    return list
  }
  if (roles.jig === undefined) say('roles.jig', 'the relay board that moves the leads of the jig', 'none')
  for (const name of names) {
    if (jig.leads[name] && roles[name] === undefined)
      say(`jig.leads.${name}`, `an instrument with the role ${name}`, 'none')
  }
  if (jig.thermometer !== undefined && roles.thermometer === undefined)
    say('jig.thermometer', 'an instrument with the role thermometer', 'none')
  return [...list, ...relayProblems(jig, file)]
}

/** Each lead has a relay for each terminal, and no relay serves two. */
function relayProblems(jig: NonNullable<BenchFile['jig']>, file: string): Problem[] {
  const list: Problem[] = []
  const seen = new Map<number, string>()
  const leads = Object.entries(jig.leads ?? {}).map(([name, ends]) => [`jig.leads.${name}`, ends] as const)
  for (const [name, ends] of [...leads, ...jig.joint ? [['jig.joint', jig.joint] as const] : []]) {
    for (const end of ['high', 'low'] as const) {
      const path = `${name}.${end}`
      if (ends[end].length !== jig.terminals)
        list.push({ file, path, expected: `${jig.terminals} relays`, got: String(ends[end].length) })
      for (const relay of ends[end]) {
        const before = seen.get(relay)
        const got = `relay ${relay}, as at ${before}`
        if (before) list.push({ file, path, expected: 'each relay once', got })
        seen.set(relay, path)
      }
    }
  }
  const { cover } = jig
  for (const key of cover ? ['lockRelay', 'bleedRelay'] as const : []) {
    const relay = cover![key]
    const [path, before] = [`jig.cover.${key}`, seen.get(relay)]
    if (before) list.push({ file, path, expected: 'each relay once', got: `relay ${relay}, as at ${before}` })
    seen.set(relay, path)
  }
  return list
}
