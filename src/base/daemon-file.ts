/** Where the data folder is, and the note in it by which the command line finds the daemon. */
import { chmodSync, readFileSync, renameSync, rmSync, statSync, writeFileSync } from 'node:fs'
import { homedir } from 'node:os'
import { join } from 'node:path'
import { fileFault, makeFolder } from './file-fault.ts'

export interface DaemonNote {
  /** e.g. `http://127.0.0.1:7316`. */
  url: string
  pid: number
  /** Of this daemon and no other, also none that listens there later: it says it in each answer. */
  id: string
}

/** Header of a request that is for one daemon alone, and of each answer of a daemon. */
export const daemonHeader = 'nightbench-daemon'

const noteFile = (dataFolder: string): string => join(dataFolder, 'daemon.json')

/** The folder named, else NIGHTBENCH_DATA, else the place the XDG base directory convention gives. */
export function dataFolderOf(
  named: string | undefined, env: Readonly<Record<string, string | undefined>>,
): string {
  return named ?? env['NIGHTBENCH_DATA']
    ?? join(env['XDG_DATA_HOME'] ?? join(homedir(), '.local', 'share'), 'nightbench')
}

/** Writes the note, readable by its owner alone, and never half. Throws STORE where it cannot. */
export function writeDaemonNote(dataFolder: string, note: DaemonNote): void {
  makeFolder(dataFolder, 'STORE')
  const file = noteFile(dataFolder)
  const draft = `${file}.${note.pid}`
  try {
    writeFileSync(draft, `${JSON.stringify(note)}\n`, { mode: 0o600 })
    chmodSync(draft, 0o600)
    renameSync(draft, file)
  } catch (error) {
    rmSync(draft, { force: true })
    throw fileFault(file, 'cannot be written', 'a note of where the daemon listens', error, 'STORE')
  }
}

/** Takes the note away when the daemon ends; nothing when there is none. */
export function removeDaemonNote(dataFolder: string): void { rmSync(noteFile(dataFolder), { force: true }) }

/** The note of `dataFolder`, or undefined where there is none that makes sense. */
export function readDaemonNote(dataFolder: string): DaemonNote | undefined {
  const file = noteFile(dataFolder)
  try {
    // Who reads it may want to stop the bench, and must not wait for one who writes into a pipe.
    if (!statSync(file).isFile()) return undefined
    const { url, pid, id } = JSON.parse(readFileSync(file, 'utf8')) as Partial<DaemonNote>
    if (typeof url !== 'string' || !URL.canParse(url)) return undefined
    // Without it nobody can tell who listens there now. It goes into a header.
    if (typeof id !== 'string' || !/^[\w-]{1,64}$/.test(id)) return undefined
    return { url, pid: Number(pid), id }
  } catch {
    return undefined
  }
}
