/** One text in place of another, which must be there exactly once. */
import type { Rewrite } from './canary.ts'

export function replaced(source: string, { file, from, to }: Rewrite): string {
  const found = source.split(from).length - 1
  if (found !== 1) throw new Error(`${file} has \`${from}\` ${found} times, and it must be there once`)
  return source.replace(from, () => to)
}
