/** A client that follows the live feed and remembers what it was shown as lasting. */

export interface Shown { channel: number; atMs: number; value: number | null }

export interface Witness {
  /** Readings that were on a screen without the mark of what may still be lost. */
  lasting(): readonly Shown[]
  close(): void
}

type Item =
  | { type: 'reading'; runId: string; reading: Omit<Shown, 'channel'> & { channel: { index: number } } }
  | { type: 'status'; status: { run: { id: string; durableUntilMs: number } | null } }
  | { type: 'event' } | { type: 'result' }

/**
 * Follows the feed from now on. A reading is marked while it is younger than what the status last shown says
 * is on the disk.
 */
export async function watchFeed(url: string, runId: string): Promise<Witness> {
  const control = new AbortController()
  const answer = await fetch(`${url}/api/v1/feed`, { signal: control.signal })
  const provisional: Shown[] = []
  const lasting: Shown[] = []
  let durableUntilMs = -Infinity
  const take = (item: Item): void => {
    if (item.type === 'status' && item.status.run?.id === runId) {
      durableUntilMs = item.status.run.durableUntilMs
      const due = provisional.splice(0)
      for (const reading of due) (reading.atMs <= durableUntilMs ? lasting : provisional).push(reading)
    }
    if (item.type !== 'reading' || item.runId !== runId) return
    const { channel: { index }, atMs, value } = item.reading
    ;(atMs <= durableUntilMs ? lasting : provisional).push({ channel: index, atMs, value })
  }
  void read(answer.body!, take).catch(() => { /* the daemon is gone: that is what rounds are about */ })
  return { lasting: () => lasting, close: () => control.abort() }
}

async function read(body: ReadableStream<Uint8Array>, take: (item: Item) => void): Promise<void> {
  const decoder = new TextDecoder()
  let partial = ''
  for await (const chunk of body) {
    const lines = (partial + decoder.decode(chunk, { stream: true })).split('\n')
    partial = lines.pop()!
    for (const line of lines) if (line.startsWith('data: ')) take(JSON.parse(line.slice(6)) as Item)
  }
}
