/** The daemon in the foreground: makes the bench safe, then accepts work until it is told to end. */
import type { LogLevel } from '../base/log.ts'
import { makeLog } from '../base/log.ts'
import { removeDaemonNote, writeDaemonNote } from '../base/daemon-file.ts'
import { softwareVersion } from '../base/version.ts'
import { buildApi, listen } from '../api/build.ts'
import { openBench } from '../app/open-bench.ts'

export interface ServeOptions {
  bench: string; data: string; port: number; host: string; token?: string | undefined; log: string
  out: NodeJS.WritableStream; json: boolean
}

/** Resolves with the exit code when SIGINT or SIGTERM ended it. Rejects when the bench cannot be opened. */
export async function serve(options: ServeOptions): Promise<number> {
  const log = makeLog(options.log as LogLevel)
  const ending = new Promise<string>(resolve => {
    for (const name of ['SIGINT', 'SIGTERM'] as const) process.on(name, () => resolve(name))
  })
  const opened = await openBench(options.bench, options.data, log)
  const { daemon } = opened
  daemon.subscribe(item => { if (item.type === 'event') log.info(
    { run: item.runId, kind: item.event.kind, position: item.event.position }, item.event.text
  ) })
  const api = buildApi(daemon, {
    software: softwareVersion, log, ...(options.token === undefined ? {} : { token: options.token })
  })
  const url = await listen(api, { host: options.host, port: options.port, token: options.token })
  writeDaemonNote(
    options.data, { url, pid: process.pid, ...(options.token === undefined ? {} : { token: options.token }) }
  )
  const said = { url, bench: opened.bench.file.bench, interrupted: opened.interrupted }
  options.out.write(options.json ? `${JSON.stringify(said)}\n` : `${said.bench} at ${url}; bench off and read back${
    said.interrupted.length > 0 ? `; interrupted: ${said.interrupted.join(', ')}` : ''}\n`)
  const signal = await ending
  log.info({ signal }, 'ending: safe-off first')
  await daemon.stop(`${signal} at the daemon`)
  removeDaemonNote(options.data)
  await opened.close()
  await api.close()
  return daemon.status().latched ? 3 : 0
}
