/**
 * Tells the service manager that started the daemon how it stands: the protocol of sd_notify(3), by the
 * command systemd-notify, because Node has no datagram sockets of that family. So the unit says
 * NotifyAccess=all.
 */
import { execFile } from 'node:child_process'
import type { Cancel, Clock } from '../base/clock.ts'
import type { Log } from '../base/log.ts'

export interface ServiceManager {
  /** The bench is off and read back, and work is accepted; from here on the watchdog is fed. */
  ready(status: string): void
  stopping(): void
  end(): void
}

/** Sends one notification; rejects when it did not go out. */
export type Notify = (words: readonly string[]) => Promise<void>

export interface ServiceOptions {
  env: Readonly<Record<string, string | undefined>>
  pid: number
  clock: Clock
  /** Whether a run that goes on is looked after; asked before each feeding. */
  alive: () => boolean
  log: Pick<Log, 'warn' | 'error'>
  notify?: Notify
}

const sendMs = 5000

/** Does nothing where no service manager listens. A notification that fails harms no run. */
export function serviceManager(
  { env, pid, clock, alive, log, notify = bySystemdNotify }: ServiceOptions
): ServiceManager {
  const listens = env['NOTIFY_SOCKET'] !== undefined
  const everyMs = listens ? feedEveryMs(env, pid) : null
  let cancel: Cancel = () => {}
  let told = false
  const tell = (...words: string[]): void => {
    if (!listens) return
    notify(words).catch((error: unknown) => {
      if (!told) log.warn({ err: error }, 'the service manager was not told')
      told = true
    })
  }
  function feed(): void {
    cancel = clock.after(everyMs!, feed)
    if (alive()) tell('WATCHDOG=1')
    else log.error({}, 'the run is not looked after; the watchdog is not fed')
  }
  return {
    ready: status => {
      tell('READY=1', `STATUS=${status.replace(/[\r\n]+/g, ' ')}`)
      if (everyMs !== null) feed()
    },
    stopping: () => tell('STOPPING=1'),
    end: () => cancel(),
  }
}

/** A third of the limit, so that one feeding may fail; null where no watchdog, or that of another process. */
function feedEveryMs(env: ServiceOptions['env'], pid: number): number | null {
  const limitMs = Number(env['WATCHDOG_USEC'] ?? NaN) / 1000
  const mine = env['WATCHDOG_PID'] === undefined || env['WATCHDOG_PID'] === String(pid)
  return mine && limitMs > 0 ? limitMs / 3 : null
}

async function bySystemdNotify(words: readonly string[]): Promise<void> {
  await new Promise<void>((resolve, reject) => {
    execFile('systemd-notify', words, { timeout: sendMs }, error => {
      if (error) reject(error)
      else resolve()
    })
  })
}
