/**
 * The keeper's own log: JSON lines in two files of bounded size; the older is replaced
 * when the newer is full.
 */
import {
  closeSync, constants, fstatSync, openSync, readFileSync, readSync, renameSync, writeFileSync, writeSync,
} from 'node:fs'
import type { Clock } from '../base/clock.ts'

/** A night writes some ten lines; this holds the nights of years. */
const bytesMaxUsual = 2 ** 20

/**
 * Appends to `path` at once. A full file becomes `path` with `.1` behind it, and a new one begins with the
 * last safe-off of the old, so that it is always in the newer file. What cannot be written, or not into a
 * plain file, is lost and counted in the next entry that can: a full disk must never stop a safe-off, nor a
 * pipe that nobody reads. Never throws.
 */
export function keeperLog(
  path: string, clock: Clock, bytesMax = bytesMaxUsual,
): (what: string, detail: object) => void {
  let lost = 0
  return (what, detail) => {
    try {
      const entry = { wallMs: Math.round(clock.wallMs()), what, ...detail }
      const counted = lost > 0 ? { ...entry, lostBefore: lost } : entry
      append(path, `${JSON.stringify(counted)}\n`, bytesMax)
      lost = 0
    } catch { lost++ }
  }
}

function append(path: string, line: string, bytesMax: number): void {
  const full = withFile(path, file => {
    const { size } = fstatSync(file)
    if (size + Buffer.byteLength(line) > bytesMax) return true
    put(file, endsWhole(file, size) ? line : `\n${line}`)
    return false
  })
  if (!full) return
  attempt(() => turnOver(path))
  withFile(path, file => put(file, line))
}

function put(file: number, line: string): void {
  if (writeSync(file, line) < Buffer.byteLength(line)) throw new Error('the disk took a part of it')
}

/** A pipe is opened for both ends, and so without waiting for the other one, and then refused. */
function withFile<T>(path: string, use: (file: number) => T): T {
  const { O_RDWR, O_APPEND, O_CREAT, O_NONBLOCK } = constants
  const file = openSync(path, O_RDWR | O_APPEND | O_CREAT | (O_NONBLOCK ?? 0), 0o644)
  try {
    if (!fstatSync(file).isFile()) throw new Error(`${path} is no plain file`)
    return use(file)
  } finally {
    closeSync(file)
  }
}

/** Where a full disk or a power cut tore the last line, the next one begins anew. */
function endsWhole(file: number, size: number): boolean {
  if (size === 0) return true
  const last = Buffer.alloc(1)
  readSync(file, last, 0, 1, size - 1)
  return last[0] === 0x0a
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

function attempt(act: () => void): void {
  try { act() } catch { /* the entry counts more than the size */ }
}
