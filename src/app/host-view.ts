/** What `host-check` may see of a computer, and the one this process runs on. */
import { execFile } from 'node:child_process'
import { accessSync, constants, readdirSync, readFileSync, statfsSync, statSync } from 'node:fs'
import { userInfo } from 'node:os'
import { dirname, resolve } from 'node:path'
import type Database from 'better-sqlite3'

export interface HostView {
  readonly nodeVersion: string
  readonly user: string
  /** Null where it is not there. `group`: the group that owns it, by name or number. */
  device(path: string): { mayUse: boolean; group: string } | null
  /** What runs: name as the kernel has it, and the words it was started with. */
  processes(): { name: string; words: string[] }[]
  /** What a command says on standard output, trimmed; null where it cannot be run. */
  ask(command: string, words: readonly string[]): Promise<string | null>
  /** Bytes that this user may still write where `folder` is, or would be; null where that cannot be told. */
  freeBytes(folder: string): number | null
  modeOf(path: string): number | null
  /** Why a native part does not load, or null. */
  loads(part: string): Promise<string | null>
}

const askMs = 5000

/** The computer that this process runs on. */
export function thisHost(): HostView {
  return {
    nodeVersion: process.versions.node, user: userInfo().username,
    device: path => orNull(() => {
      const { gid } = statSync(path)
      const mayUse = orNull(() => { accessSync(path, constants.R_OK | constants.W_OK); return true }) ?? false
      return { mayUse, group: groupName(gid) }
    }),
    processes: () => {
      const pids = (orNull(() => readdirSync('/proc')) ?? []).filter(name => /^\d+$/.test(name))
      return pids.flatMap(pid => {
        const name = textOf(`/proc/${pid}/comm`).trim()
        const words = textOf(`/proc/${pid}/cmdline`).split('\0').filter(Boolean)
        return name === '' ? [] : [{ name, words }]
      })
    },
    ask: async (command, words) => await new Promise(done => {
      execFile(command, words, { timeout: askMs }, (error, out) => {
        // Some answer in words and fail all the same: `is-enabled` of what is masked.
        const ran = error === null || typeof error.code === 'number'
        done(ran && (error === null || out.trim() !== '') ? out.trim() : null)
      })
    }),
    freeBytes: folder => orNull(() => {
      const { bavail, bsize } = statfsSync(standing(resolve(folder)))
      return bavail * bsize
    }),
    modeOf: path => orNull(() => statSync(path).mode & 0o777),
    loads: async part => {
      try {
        const loaded = await import(part) as { default?: unknown }
        // Its native part is loaded only when a database is opened.
        if (part === 'better-sqlite3') new (loaded.default as typeof Database)(':memory:').close()
        return null
      } catch (error) {
        return (error as Error).message.split('\n', 1)[0]!
      }
    },
  }
}

/** The nearest folder above that is there. */
function standing(path: string): string {
  return orNull(() => statSync(path)) !== null || dirname(path) === path ? path : standing(dirname(path))
}

function groupName(gid: number): string {
  const line = textOf('/etc/group').split('\n').find(entry => entry.split(':')[2] === String(gid))
  return line?.split(':')[0] ?? String(gid)
}

function textOf(path: string): string { return orNull(() => readFileSync(path, 'utf8')) ?? '' }

function orNull<T>(work: () => T): T | null {
  try { return work() } catch { return null }
}
