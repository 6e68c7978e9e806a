/** Follows the feed of a daemon over HTTP and says words to its session, as a person at a terminal would. */
import { get, request, type IncomingMessage } from 'node:http'
import { RealClock, type Cancel, type Clock } from '../../src/base/clock.ts'
import type { Seen } from './screener.ts'

export interface FollowerOptions {
  /** Where the daemon listens, http://127.0.0.1:port. */
  readonly url: string
  /** Bench time stands while a word is on its way. */
  readonly benchClock: Clock
  hear(seen: Seen | null): void
}

const tryAgainMs = 500
const itemCharsMax = 2 ** 20

export class Follower {
  readonly #options: FollowerOptions
  readonly #clock = new RealClock()
  #waiting: Cancel = () => {}
  #answer: IncomingMessage | null = null
  #isClosed = false

  constructor(options: FollowerOptions) { this.#options = options }

  /** Resolves when the feed is heard; tries again until then, and whenever it is lost. */
  follow(): Promise<void> {
    return new Promise(resolve => this.#open(resolve))
  }

  close(): void {
    this.#isClosed = true
    this.#waiting()
    this.#answer?.destroy()
  }

  /** Resolves when the daemon has answered; what it refuses is not said again. */
  async say(deed: string, at?: string): Promise<void> {
    const release = this.#options.benchClock.hold()
    try {
      await this.#post('/screening/deed', { does: deed, ...at === undefined ? {} : { at } })
    } catch { /* the daemon is gone, and so is its session */ } finally {
      release()
    }
  }

  #post(path: string, body: object): Promise<void> {
    return new Promise((resolve, reject) => {
      const headers = { 'content-type': 'application/json' }
      const asking = request(this.#urlOf(path), { method: 'POST', headers }, answer => {
        answer.resume().on('end', resolve)
      })
      asking.on('error', reject).end(JSON.stringify(body))
    })
  }

  #urlOf(path: string): string { return `${this.#options.url.replace(/\/$/, '')}/api/v1${path}` }

  #open(onHeard: () => void): void {
    let isOver = false
    const again = (): void => {
      if (isOver || this.#isClosed) return
      isOver = true
      this.#waiting = this.#clock.after(tryAgainMs, () => this.#open(onHeard))
    }
    get(this.#urlOf('/feed'), answer => {
      this.#answer = answer
      this.#read(answer)
      answer.on('close', again)
      if (answer.statusCode === 200) this.#catchUp().then(onHeard, again)
      else answer.destroy()
    }).on('error', again)
  }

  #read(answer: IncomingMessage): void {
    let text = ''
    answer.setEncoding('utf8').on('error', () => {}).on('data', chunk => {
      const blocks = (text + String(chunk)).split('\n\n')
      text = blocks.pop()!
      if (text.length > itemCharsMax) answer.destroy()
      for (const block of blocks) this.#item(block)
    })
  }

  /** Server-sent events (HTML Living Standard, 9.2) of one line of data each, as the daemon writes them. */
  #item(block: string): void {
    const data = block.split('\n').find(line => line.startsWith('data: '))?.slice('data: '.length)
    if (data === undefined) return
    const item = JSON.parse(data) as { type: string; screening?: Seen | null }
    if (item.type === 'screening') this.#options.hear(item.screening ?? null)
  }

  /** The feed tells what is new: what stands already is asked for. */
  #catchUp(): Promise<void> {
    return new Promise((resolve, reject) => {
      get(this.#urlOf('/screening'), answer => {
        let text = ''
        answer.setEncoding('utf8').on('data', chunk => { text += String(chunk) }).on('error', reject)
        answer.on('end', () => {
          const seen = JSON.parse(text) as Seen | null
          if (seen !== null) this.#options.hear(seen)
          resolve()
        })
      }).on('error', reject)
    })
  }
}
