/** Who waits for the next reading of a channel. A throwing or slow waiter never holds up judgement. */
import type { Channel, Reading } from '../schema/reading.ts'

interface Waiter { afterMs: number; signal: AbortSignal; resolve: (reading: Reading) => void; reject: (error: unknown) => void }

export class Waiters {
  #byChannel = new Map<number, Waiter[]>()

  /** The next good reading of `channel` taken after `afterMs` (monotonic). Rejects when the signal aborts. */
  next(channel: Channel, afterMs: number, signal: AbortSignal): Promise<Reading> {
    return new Promise((resolve, reject) => {
      if (signal.aborted) return reject(signal.reason as Error)
      const waiter: Waiter = { afterMs, signal, resolve, reject }
      const list = this.#byChannel.get(channel.index)
      if (list) list.push(waiter)
      else this.#byChannel.set(channel.index, [waiter])
    })
  }

  deliver(reading: Reading): void {
    const list = this.#byChannel.get(reading.channel.index)
    if (!list || list.length === 0 || reading.quality !== 'good') return
    const later: Waiter[] = []
    for (const waiter of list) {
      if (reading.atMs > waiter.afterMs) waiter.resolve(reading)
      else later.push(waiter)
    }
    this.#byChannel.set(reading.channel.index, later)
  }

  /** Rejects those who wait under `signal`, which has aborted; the others go on waiting. */
  rejectUnder(signal: AbortSignal): void {
    for (const [index, list] of this.#byChannel) {
      for (const waiter of list) if (waiter.signal === signal) waiter.reject(signal.reason)
      this.#byChannel.set(index, list.filter(waiter => waiter.signal !== signal))
    }
  }
}
