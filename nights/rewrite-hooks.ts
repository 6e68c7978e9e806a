/** Module hooks of rewrite.ts. A text that is not there is an error: a canary that changes nothing shows nothing. */
import { pathToFileURL } from 'node:url'
import type { LoadHook } from 'node:module'
import type { Rewrite } from './canaries.ts'

let rewrite: Rewrite & { url: string }

export function initialize(data: Rewrite): void { rewrite = { ...data, url: pathToFileURL(data.file).href } }

export const load: LoadHook = async (url, context, next) => {
  const loaded = await next(url, context)
  if (url !== rewrite.url) return loaded
  const text = String(loaded.source)
  if (!text.includes(rewrite.from)) throw new Error(`${rewrite.file} has no \`${rewrite.from}\``)
  return { ...loaded, source: text.replace(rewrite.from, rewrite.to) }
}
