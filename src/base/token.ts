/**
 * The token of a remote view. It is 256 random bits, so a plain SHA-256 of it is what the file keeps: a slow
 * hash such as scrypt makes guessing dear, and nobody guesses 256 bits; it would only let anybody who sends
 * wrong tokens burn the bench host's time, one derivation a request.
 */
import { createHash, randomBytes, timingSafeEqual } from 'node:crypto'

export const tokenBytes = 32

/** A new token, as text for a header; nothing but its hash is to be kept at the bench. */
export const newToken = (): string => randomBytes(tokenBytes).toString('base64url')

/** What the token file holds: `sha256:` and 64 hex digits. */
export const hashOfToken = (token: string): string => `sha256:${digest(token).toString('hex')}`

export const isTokenHash = (text: string): boolean => /^sha256:[0-9a-f]{64}$/.test(text)

/** Takes the same time whatever is wrong with `given`. `hash` is what `hashOfToken` made. */
export function isToken(given: string, hash: string): boolean {
  return timingSafeEqual(digest(given), Buffer.from(hash.slice('sha256:'.length), 'hex'))
}

const digest = (text: string): Buffer => createHash('sha256').update(text).digest()
