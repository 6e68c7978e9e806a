/** The live feed: server-sent events (HTML Living Standard, 9.2), thinned so that a screen can follow. */
import { PassThrough } from 'node:stream'
import type { Clock } from '../base/clock.ts'
import { BenchError } from '../base/errors.ts'
import type { Application, FeedItem } from '../schema/application.ts'
import type { Routes } from './build.ts'
import { apiLimits } from './limits.ts'

/** At most four readings a second of each channel; nobody reads faster. */
const readingEveryMs = 250
/** While a run goes on its status is told this often, whatever else happens. */
const statusEveryMs = 1000
/** Proxies and browsers drop a silent connection; a comment keeps it. */
const heartbeatMs = 15_000
/** A watcher that lags this far gets no readings; at four times as far it is cut off and may come back. */
const lagBytesMax = 256 * 1024

export function feedRoute(routes: Routes, app: Application, clock: Clock): void {
  const open = new Set<() => void>()
  routes.addHook('preClose', () => { for (const end of open) end() })
  routes.get('/feed', {
    schema: { summary: 'Live: status, event, result and thinned reading items, as server-sent events' },
  }, (request, reply) => {
    if (open.size >= apiLimits.watchers) {
      throw new BenchError('REFUSED', `${open.size} watch already`, {
        expected: `at most ${apiLimits.watchers} watchers`,
      })
    }
    const stream = new PassThrough({ highWaterMark: 8 * lagBytesMax })
    const end = feedInto(stream, app, clock)
    open.add(end)
    request.raw.on('close', () => { end(); open.delete(end) })
    stream.on('error', end)
    return reply.type('text/event-stream; charset=utf-8')
      .header('x-accel-buffering', 'no').send(stream)
  })
}

/**
 * Writes the feed of `app` into `stream`, status first, until the returned function is called or the
 * stream lags.
 */
export function feedInto(stream: PassThrough, app: Application, clock: Clock): () => void {
  const thin = thinReadings(clock)
  let ended = false
  const write = (item: FeedItem): void => {
    if (ended) return
    if (stream.writableLength + stream.readableLength > 4 * lagBytesMax) return end()
    if (item.type === 'reading' && (stream.readableLength > lagBytesMax || !thin(item))) return
    stream.write(`event: ${item.type}\ndata: ${JSON.stringify(item)}\n\n`)
  }
  const unsubscribe = app.subscribe(write)
  let quietMs = 0
  let cancelBeat = clock.after(statusEveryMs, beat)
  function beat(): void {
    const status = app.status()
    const isBusy = status.run !== null || status.powering !== null
    quietMs = isBusy ? 0 : quietMs + statusEveryMs
    if (isBusy) write({ type: 'status', status })
    else if (quietMs % heartbeatMs === 0) stream.write(': still here\n\n')
    if (!ended) cancelBeat = clock.after(statusEveryMs, beat)
  }
  function end(): void {
    if (ended) return
    ended = true
    cancelBeat()
    unsubscribe()
    stream.end()
  }
  write({ type: 'status', status: app.status() })
  return end
}

/** True for a reading whose channel has not been shown for `readingEveryMs`. */
function thinReadings(clock: Clock): (item: Extract<FeedItem, { type: 'reading' }>) => boolean {
  const shownMs = new Map<string, number>()
  return ({ runId, reading }) => {
    const key = `${runId} ${reading.channel.index}`
    const nowMs = clock.monotonicMs()
    if (nowMs - (shownMs.get(key) ?? -Infinity) < readingEveryMs) return false
    shownMs.set(key, nowMs)
    return true
  }
}
