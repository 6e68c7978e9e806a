/**
 * The keeper's process, started by the daemon. It ends only after it has made the bench safe, unless it is
 * told to close while idle. It is of its own process group, so that a Ctrl-C or a closed terminal is the
 * daemon's business; SIGINT and SIGTERM sent to it alone make the bench safe.
 */
import { Socket } from 'node:net'
import { channelFd, openChannel, type Channel } from './channel.ts'
import { KeeperProcess } from './keeper-process.ts'
import { asOrder, type Reply } from './protocol.ts'

let keeper: KeeperProcess | null = null
let starting = false
let ending = false
let connected = true

function openToDaemon(): Channel {
  try {
    return openChannel(new Socket({ fd: channelFd }), {
      message: onMessage,
      malformed: what => { if (keeper === null) process.exit(4); else void keeper.host.malformed(what) },
      gone: () => { connected = false; leave('daemon-gone', 0) },
    })
  } catch {
    // Not started by a daemon.
    return process.exit(2)
  }
}

function onMessage(raw: unknown): void {
  if (keeper !== null) return keeper.onMessage(raw)
  const order = asOrder(raw)
  // Before its start it owns no link, so there is nothing to make safe; a parent that does not know that is
  // none.
  if (starting || typeof order === 'string' || order.do !== 'start') return process.exit(4)
  starting = true
  const send = (reply: Reply): void => channel.send(reply)
  KeeperProcess.start(order, send, code => process.exit(code)).then(
    started => {
      keeper = started
      if (connected) send(['ready'])
      else leave('daemon-gone', 0)
    },
    () => process.exit(4))
}

type Why = 'daemon-gone' | 'SIGTERM' | 'SIGINT' | 'uncaught error'

function leave(why: Why, exitCode: number, detail = ''): void {
  if (keeper === null) return starting ? undefined : process.exit(exitCode)
  const { host } = keeper
  const safeOff = why === 'daemon-gone' ? host.daemonGone() : host.safeOff(`${why}${detail}`, 'the keeper')
  if (ending) return
  ending = true
  keeper.end(safeOff).then(() => process.exit(exitCode), () => process.exit(4))
}

process.on('SIGHUP', () => {})
process.on('SIGINT', () => leave('SIGINT', 0))
process.on('SIGTERM', () => leave('SIGTERM', 0))
process.on('uncaughtException', error => leave('uncaught error', 4, `: ${error.message}`))
process.on('unhandledRejection', error => leave('uncaught error', 4, `: ${String(error)}`))
const channel = openToDaemon()
