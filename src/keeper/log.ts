/**
 * The keeper's own log: JSON lines in two files of bounded size; the older is replaced
 * when the newer is full.
 */
import { appendFileSync, readFileSync, renameSync, statSync, writeFileSync } from 'node:fs'
import type { Clock } from '../base/clock.ts'

/** A night writes some ten lines; this holds the nights of years. */
const bytesMaxUsual = 2 ** 20

/**
 * Appends to `path` at once. A full file becomes `path` with `.1` behind it, and a new one begins with the
 * last safe-off of the old, so that it is always in the newer file. What cannot be written is lost: a full
 * disk must never stop a safe-off.
 */
export function keeperLog(
  path: string, clock: Clock, bytesMax = bytesMaxUsual,
): (what: string, detail: object) => void {
  return (what, detail) => {
    const line = `${JSON.stringify({ wallMs: Math.round(clock.wallMs()), what, ...detail })}\n`
    attempt(() => { if (sizeOf(path) + Buffer.byteLength(line) > bytesMax) turnOver(path) })
    attempt(() => appendFileSync(path, line))
  }
}

function turnOver(path: string): void {
  const last = readFileSync(path, 'utf8').split('\n').findLast(isSafeOff)
  renameSync(path, `${path}.1`)
  writeFileSync(path, last === undefined ? '' : `${last}\n`)
}

/** A line that a power cut tore in two is no entry. */
function isSafeOff(line: string): boolean {
  if (!line.includes('"what":"safe-off"')) return false
  try { return (JSON.parse(line) as { what: unknown }).what === 'safe-off' } catch { return false }
}

function sizeOf(path: string): number {
  return statSync(path, { throwIfNoEntry: false })?.size ?? 0
}

function attempt(act: () => void): void {
  try { act() } catch { /* as said above */ }
}
