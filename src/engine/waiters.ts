/** Who waits for the next reading of a channel. A throwing or slow waiter never holds up judgement. */
import type { Cancel, Clock } from '../base/clock.ts'
import type { Channel, Reading } from '../schema/reading.ts'

/** `afterMs`: monotonic. `withinMs`: from now; every wait has an end, whatever a meter does. */
export interface Wait { readonly afterMs: number; readonly withinMs: number; readonly signal: AbortSignal }

interface Waiter extends Wait {
  resolve: (reading: Reading | null) => void; reject: (error: unknown) => void; cancel: Cancel
}

export class Waiters {
  #clock: Clock
  #byChannel = new Map<number, Waiter[]>()

  constructor(clock: Clock) { this.#clock = clock }

  /**
   * The next good reading of `channel` taken after `afterMs`; null when none came in
   * time. Rejects when the signal aborts.
   */
  next(channel: Channel, wait: Wait): Promise<Reading | null> {
    return new Promise((resolve, reject) => {
      if (wait.signal.aborted) return reject(wait.signal.reason as Error)
      const cancel = this.#clock.after(Math.max(1, wait.withinMs),
        () => { this.#forget(channel.index, waiter); resolve(null) })
      const waiter: Waiter = { ...wait, resolve, reject, cancel }
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
      if (reading.atMs <= waiter.afterMs) { later.push(waiter); continue }
      waiter.cancel()
      waiter.resolve(reading)
    }
    this.#byChannel.set(reading.channel.index, later)
  }

  /** Rejects those who wait under `signal`, which has aborted; the others go on waiting. */
  rejectUnder(signal: AbortSignal): void {
    for (const [index, list] of this.#byChannel) {
      for (const waiter of list) if (waiter.signal === signal) {
        waiter.cancel()
        waiter.reject(signal.reason)
      }
      this.#byChannel.set(index, list.filter(waiter => waiter.signal !== signal))
    }
  }

  #forget(index: number, gone: Waiter): void {
    this.#byChannel.set(index, (this.#byChannel.get(index) ?? []).filter(waiter => waiter !== gone))
  }
}
