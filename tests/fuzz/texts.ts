/** Inputs: text that means harm, answers of instruments that went wrong, files with slips and worse. */
import fc from 'fast-check'

/** Words that mean something to a browser, a spreadsheet, a terminal, a file system or JavaScript. */
export const harmful = [
  '<script>alert(1)</script>', '"><img src=x onerror=alert(1)>', "' onmouseover='alert(1)", '</style><script>', '<!--', ']]>',
  '=cmd|\' /C calc\'!A0', '+1+1', '-2+3', '@SUM(A1)', '\t=1+1', ' =1+1', '\uff1d1+1', '\u001b[2J', '\u001b]0;owned\u0007', '\u009b31m', '\u202ekcab',
  '\u2066x\u2069', '\u200f', '\r\n', '\u0000', '../../etc/passwd', '..\\..\\x', '%2e%2e%2f', '__proto__', 'constructor', 'toString', '\ud800',
  '${7*7}', '{{7*7}}', '$number', '\u2028', '\ufeff', 'NaN', '&lt;', '&#x3c;', ';', ',', '"', '""', "'", '`',
] as const

export const nasty = (maxLength = 60): fc.Arbitrary<string> => fc.oneof(
  fc.constantFrom(...harmful),
  fc.string({ unit: 'binary', maxLength }),
  fc.string({ unit: 'grapheme', maxLength }),
  fc.tuple(fc.string({ maxLength: 8 }), fc.constantFrom(...harmful), fc.string({ maxLength: 8 })).map(parts => parts.join('')),
)

const numberText = fc.oneof(
  fc.double().map(String), fc.integer().map(String), fc.double({ min: -1000, max: 1000 }).map(value => value.toExponential(6)),
  fc.constantFrom('9.9E37', '-9.9E37', '9.91E37', '+1.2E+400', '1e-400', 'INF', 'NINF', 'NAN', '-0', '+.5', '5.', '1,5', '0x10', '1e', '--1', '#HFF', '#B2', '1 V', '1MV', 'ON', 'OFF', '0', '1', '2'),
)
const answer = fc.oneof(
  { arbitrary: numberText, weight: 5 },
  { arbitrary: fc.array(numberText, { maxLength: 12 }).map(list => list.join(',')), weight: 2 },
  { arbitrary: fc.array(numberText, { maxLength: 4 }).map(list => list.join(';')), weight: 1 },
  { arbitrary: fc.constantFrom(
    '', ' ', '0,"No error"', '-222,"Data out of range"', '-350,"Queue overflow', '1,', ',,,', '"open', '""""', '#0', '#10', '#9999999999', '#3', '#212ab',
    'Fictive,dc-supply,0042,1.7', 'A,B', ',,,,,,', '(@101:999999999)', '(@1,2', 'ERR', '****', '>', 'OVERLOAD', 'ON,OFF', 'a'.repeat(5000), '9'.repeat(400),
  ), weight: 4 },
  { arbitrary: nasty(), weight: 2 },
)
/** What an instrument may say where a line was asked for. */
export const answers = answer.map(text => text.replace(/[\r\n]/g, ' '))

/** Bytes that may come over a wire: answers, line ends, blocks, noise. */
export const wireBytes: fc.Arbitrary<Buffer> = fc.array(fc.oneof(
  answer.map(text => Buffer.from(text, 'latin1')),
  fc.constantFrom('\n', '\r\n', '\r', '\0', '"', '#', '#0', '#15', '#216').map(text => Buffer.from(text, 'latin1')),
  fc.uint8Array({ maxLength: 30 }).map(bytes => Buffer.from(bytes)),
), { maxLength: 12 }).map(list => Buffer.concat(list))

/** Something else in the place of a part of `text`: a slip of a person, a bad merge, an attack. */
export function altered(texts: readonly string[], pieces: fc.Arbitrary<string>): fc.Arbitrary<string> {
  const change = fc.record({
    at: fc.double({ min: 0, max: 1, noNaN: true }), length: fc.nat(40), kind: fc.constantFrom('cut', 'put', 'swap', 'twice', 'number'), piece: pieces,
  })
  return fc.tuple(fc.constantFrom(...texts), fc.array(change, { minLength: 1, maxLength: 4 })).map(([text, changes]) =>
    changes.reduce((now, { at, length, kind, piece }) => {
      const from = Math.floor(at * now.length)
      if (kind === 'twice') return now.slice(0, from + length) + now.slice(from)
      if (kind === 'number') return withNumber(now, from, piece)
      return now.slice(0, from) + (kind === 'cut' ? '' : piece) + now.slice(kind === 'put' ? from : from + length)
    }, text))
}

/** The first number at or after `from` becomes `piece`. */
function withNumber(text: string, from: number, piece: string): string {
  const rest = text.slice(from)
  return text.slice(0, from) + rest.replace(/-?\d+(\.\d+)?/, () => piece)
}

export const yamlPieces = fc.oneof(
  numberText, nasty(20),
  fc.constantFrom(
    '&a [*a]', '*a', '<<: *a', '!!js/function "x"', '!!binary aGk=', '!<tag:x> y', '- ', ': ', '? ', '{', '[', '}', ']', '|\n', '>-\n', '---\n', '...\n', '%YAML 9\n', '\t',
    '__proto__: {a: 1}\n', 'constructor: 1\n', '0o17', '1_000', '.inf', '.nan', '~', 'null', 'true', '2026-01-01', '"\\x00"', '1e400', '-1', '0', '481', '1e9', 'k', ' # ', '[[[[[[[[', '{{{{{{{{',
  ),
)

/** Any JSON, with keys that objects already have and texts that mean harm. */
export const anyJson: fc.Arbitrary<unknown> = fc.letrec(tie => ({
  value: fc.oneof(
    { maxDepth: 3 },
    fc.oneof(nasty(), fc.double(), fc.integer(), fc.boolean(), fc.constant(null)),
    fc.array(tie('value'), { maxLength: 4 }),
    fc.array(fc.tuple(fc.oneof(fc.constantFrom('name', 'parts', 'url', 'reason', 'person', '__proto__', 'length', '0'), nasty(10)), tie('value')), { maxLength: 4 })
      .map(entries => JSON.parse(`{${entries.map(([key, value]) => `${JSON.stringify(key)}:${JSON.stringify(value) ?? 'null'}`).join(',')}}`) as unknown),
  ),
})).value

/** `good` with something else in one place or two, or something else altogether. */
export function alteredJson(good: fc.Arbitrary<unknown>): fc.Arbitrary<unknown> {
  return fc.oneof(
    anyJson, good,
    fc.tuple(good, fc.nat(), anyJson).map(([value, at, other]) => replaced(value, at, other)),
    fc.tuple(good, fc.nat(), anyJson, fc.nat(), anyJson).map(([value, at, other, then, another]) => replaced(replaced(value, at, other), then, another)),
  )
}

function replaced(value: unknown, at: number, other: unknown): unknown {
  if (value === null || typeof value !== 'object' || at % 7 === 0) return other
  const copy = structuredClone(value) as Record<string, unknown>
  const keys = Object.keys(copy)
  if (keys.length === 0) return other
  const key = keys[at % keys.length]!
  copy[key] = replaced(copy[key], Math.floor(at / keys.length), other)
  return copy
}
