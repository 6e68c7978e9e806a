/** Module hooks of rewrite.ts. A text that is not there is an error: a canary that changes nothing shows nothing. */
import { pathToFileURL } from 'node:url'
import type { LoadHook } from 'node:module'
import { replaced } from './replaced.ts'
import type { Rewrite } from './canary.ts'

let rewrites: readonly (Rewrite & { url: string })[]

export function initialize(data: readonly Rewrite[]): void {
  rewrites = data.map(one => ({ ...one, url: pathToFileURL(one.file).href }))
}

export const load: LoadHook = async (url, context, next) => {
  const loaded = await next(url, context)
  const here = rewrites.filter(one => one.url === url)
  return here.length === 0 ? loaded : { ...loaded, source: here.reduce(replaced, String(loaded.source)) }
}
