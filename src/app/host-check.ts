/** What the computer at the bench must be like for a night: each look, what it found, and how to mend it. */
import { resolve } from 'node:path'
import type { HostView } from './host-view.ts'

export type Verdict = 'good' | 'warning' | 'bad' | 'cannot tell'

export interface HostFinding {
  readonly check: string
  readonly verdict: Verdict
  /** What was found, one sentence. */
  readonly found: string
  /** What a person can do; empty where nothing is to be done. */
  readonly mend: string
}

export interface HostQuestion {
  readonly dataFolder: string
  /** Devices of the bench file by instrument; all that are here where no bench file is named. */
  readonly devices: ReadonlyMap<string, string>
}

type Look = (host: HostView, question: HostQuestion) => Promise<HostFinding[]>

/** All looks, in the order in which a person mends. A look that fails is told as one that cannot tell. */
export async function checkHost(host: HostView, question: HostQuestion): Promise<HostFinding[]> {
  const findings: HostFinding[] = []
  for (const [check, look] of Object.entries(looks)) {
    findings.push(...await look(host, question).catch((error: unknown) =>
      [finding(check, 'cannot tell', `looking failed: ${(error as Error).message}`)]))
  }
  return findings
}

const finding = (check: string, verdict: Verdict, found: string, mend = ''): HostFinding =>
  ({ check, verdict, found, mend })

const nodeLeast = 20
/** A night of a large rack takes some hundred MB of record; the disk also holds the log. Common practice. */
const [freeGoodBytes, freeLeastBytes] = [2 ** 30, 256 * 2 ** 20]
/** Services that open serial ports by themselves to see what is there. */
const grabbers: Readonly<Record<string, string>> = {
  ModemManager: 'sudo systemctl disable --now ModemManager, or the rules in packaging/udev',
  brltty: 'sudo systemctl mask --now brltty brltty-udev',
  gpsd: 'sudo systemctl disable --now gpsd.socket gpsd',
}
const sleepTargets = ['sleep.target', 'suspend.target', 'hibernate.target', 'hybrid-sleep.target']
const unit = 'nightbench.service'

const looks: Readonly<Record<string, Look>> = {
  versions: async host => {
    const old = Number(host.nodeVersion.split('.')[0]) < nodeLeast
    const node = old
      ? finding('versions', 'bad', `Node ${host.nodeVersion}`, `install Node ${nodeLeast} or later`)
      : finding('versions', 'good', `Node ${host.nodeVersion}`)
    const parts = await Promise.all(['better-sqlite3', 'serialport'].map(async part => {
      const problem = await host.loads(part)
      return problem === null ? finding('versions', 'good', `${part} loads`)
        : finding('versions', 'bad', `${part} does not load: ${problem}`,
          'npm rebuild, with the Node that runs it')
    }))
    return [node, ...parts]
  },

  ports: async (host, { devices }) => {
    if (devices.size === 0) {
      return [finding('ports', 'good', 'no serial port and no USBTMC device to look at')]
    }
    return [...devices].map(([name, path]) => {
      const device = host.device(path)
      const of = name === path ? path : `${path} of ${name}`
      if (device === null) {
        return finding('ports', 'bad', `${of} is not there`,
          'check the cable and the name; see nightbench instruments')
      }
      if (device.mayUse) return finding('ports', 'good', `${of} may be read and written`)
      return finding('ports', 'bad', `${host.user} may not read and write ${of}`, device.group === 'root'
        ? 'give it a group of its own by the rules in packaging/udev'
        : `sudo usermod -aG ${device.group} ${host.user}, then log in anew`)
    })
  },

  grabbers: async (host, { devices }) => {
    const running = host.processes()
    const known = Object.entries(grabbers).filter(([name]) => running.some(entry => entry.name === name))
      .map(([name, mend]) =>
        finding('grabbers', 'bad', `${name} runs and opens serial ports to look at them`, mend))
    const terminals = running.filter(entry => entry.name === 'agetty').flatMap(({ words }) => {
      const port = words.find(word => /^(tty(S|USB|ACM|AMA)\d+)$/.test(word))
      const used = port !== undefined && [...devices.values()].includes(`/dev/${port}`)
      return used ? [finding('grabbers', 'bad', `a login terminal runs on /dev/${port}`,
        `sudo systemctl disable --now serial-getty@${port}`)] : []
    })
    const bad = [...known, ...terminals]
    return bad.length > 0 ? bad
      : [finding('grabbers', 'good', 'nothing known that opens serial ports by itself')]
  },

  sleep: async host => {
    const answers = await Promise.all(sleepTargets.map(async target =>
      await host.ask('systemctl', ['is-enabled', target])))
    if (answers.every(answer => answer === null)) {
      return [finding('sleep', 'cannot tell', 'this host has no systemctl to ask',
        'see that nothing puts it to sleep: a host that sleeps ends the night')]
    }
    const open = sleepTargets.filter((_, i) => answers[i] !== 'masked')
    return [open.length === 0 ? finding('sleep', 'good', 'the host cannot be put to sleep')
      : finding('sleep', 'bad', `the host may sleep: ${open.join(', ')}`,
        `sudo systemctl mask ${open.join(' ')}`)]
  },

  disk: async (host, { dataFolder }) => {
    const free = host.freeBytes(dataFolder)
    if (free === null) {
      return [finding('disk', 'bad', `${dataFolder} cannot be looked at`, 'make it, or name it with --data')]
    }
    const found = `${Math.floor(free / 2 ** 20)} MB free for ${dataFolder}`
    const mend = 'make room, or name another folder with --data'
    const verdict = free >= freeGoodBytes ? 'good' : free >= freeLeastBytes ? 'warning' : 'bad'
    return [finding('disk', verdict, found, verdict === 'good' ? '' : mend)]
  },

  folder: async (host, { dataFolder }) => {
    const mode = host.modeOf(dataFolder)
    if (mode === null) return [finding('folder', 'cannot tell', `${dataFolder} is not there yet`)]
    return [(mode & 0o022) === 0 ? finding('folder', 'good', `nobody else may write ${dataFolder}`)
      : finding('folder', 'bad', `others may write ${dataFolder}, which holds sequences, and they are code`,
        `chmod go-w ${resolve(dataFolder)}`)]
  },

  clock: async host => {
    const answer = await host.ask('timedatectl', ['show', '-p', 'NTPSynchronized', '--value'])
    if (answer === 'yes') return [finding('clock', 'good', 'the clock is kept by a time service')]
    return [answer === 'no'
      ? finding('clock', 'warning', 'no time service keeps the clock', 'sudo timedatectl set-ntp true')
      : finding('clock', 'cannot tell', 'this host does not say whether a time service keeps its clock',
        'compare it with another clock: the record stamps what happened by it')]
  },

  service: async host => {
    const answer = await host.ask('systemctl', ['show', unit, '-p',
      'LoadState,UnitFileState,Type,WatchdogUSec,WatchdogSignal,KillMode,NotifyAccess'])
    const says = new Map((answer ?? '').split('\n').map(line => line.split('=', 2) as [string, string]))
    if (says.get('LoadState') !== 'loaded') {
      return [finding('service', 'warning', `${unit} is not installed: nothing starts the daemon anew`,
        'see docs/operations.md')]
    }
    const wrong = Object.entries(unitMust).filter(([key, fits]) => !fits(says.get(key) ?? ''))
      .map(([key]) => `${key}=${says.get(key) ?? ''}`)
    return [wrong.length === 0 ? finding('service', 'good', `${unit} is installed, with its watchdog`)
      : finding('service', 'bad', `${unit} is not as it must be: ${wrong.join(', ')}`,
        'compare with packaging/systemd, and read what docs/operations.md says of KillMode')]
  },
}

/** With another KillMode or watchdog signal the keeper may be killed before it has made the bench safe. */
const unitMust: Readonly<Record<string, (value: string) => boolean>> = {
  UnitFileState: value => value === 'enabled',
  Type: value => value === 'notify',
  NotifyAccess: value => value === 'all',
  WatchdogUSec: value => value !== '' && value !== '0' && value !== 'infinity',
  WatchdogSignal: value => value === '15' || value === 'SIGTERM',
  KillMode: value => value === 'control-group',
}
