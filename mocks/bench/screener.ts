/**
 * A simulated person at a jig, hands included: does what a session says, answers its questions, and notices
 * when nothing happens. Once a drawer the wrong part is taken in hand.
 */
import type { Cancel, Clock } from '../../src/base/clock.ts'
import type { SeededRandom } from '../../src/base/random.ts'
import type { Drawer } from './drawer.ts'
import type { Hands } from './hands.ts'
import { TrayHands } from './tray-hands.ts'

/** How a session stands, as it says so itself; other fields are not looked at. */
export interface Seen {
  readonly asked: string | null
  readonly stands: string
  readonly told?: { readonly tone: string; readonly text: string } | null
  /** At a tray: what is to lie where. */
  readonly tray?: {
    readonly stage: string
    readonly slots: readonly { readonly position: string; readonly id: string; readonly stands: string }[]
  } | undefined
}

/** The wrong part was taken in hand once; `noticed` when a question of the session had it changed. */
export interface MixUp { readonly asked: string; readonly taken: string; readonly noticed: boolean }

export interface ScreenerOptions {
  readonly hands: Hands
  readonly clock: Clock
  readonly drawer: Drawer
  readonly random: SeededRandom
  /** Says one word to the session. Never rejects. */
  say(deed: string, at?: string): Promise<void>
}

/** A part that has been in for so long and told nothing is open, or the jig does not see it. */
const patienceMs = 6000
/** So often it is measured all the same; one that still tells nothing is put off. */
const triesMost = 3
/** From a question to its answer, and from the wrong part to the right one in the jig. */
const thinkMs = 1500
const swapMs = 4000

export class Screener {
  readonly #options: ScreenerOptions
  /** For which part the wrong one is taken in hand, and which. */
  readonly #mixUp: Omit<MixUp, 'noticed'> | null
  #happened: MixUp | null = null
  #hand: { for: string; name: string } | null = null
  #waiting: Cancel = () => {}
  #heard = ''
  #asked = ''
  #tries = 0
  /** What was asked for in vain, and standards that were out of control. */
  readonly #once = new Set<string>()
  readonly #tray: TrayHands

  constructor(options: ScreenerOptions) {
    this.#options = options
    this.#tray = new TrayHands(options)
    this.#mixUp = mixUpOf(options.drawer, options.random)
  }

  /** Null as long as every part was the right one. */
  get mixUp(): MixUp | null { return this.#happened }

  /** Null: there is no session any more. */
  hear(seen: Seen | null): void {
    if (seen?.tray) return this.#tray.hear(seen, seen.tray)
    const asked = seen?.asked ?? ''
    const said = `${seen?.stands} ${asked}`
    if (seen?.stands === 'measuring') this.#listen(asked, seen.told ?? null)
    if (said === this.#heard) return
    this.#heard = said
    switch (seen?.stands) {
      case 'asking': return asked === 'empty jig' ? this.#emptied() : this.#bring(asked)
      case 'in doubt': return this.#answer(asked, seen.told?.text ?? '')
      case 'out of control': return this.#onceThen('adjusted', 'a standard')
      case 'measuring': return this.#waiting()
      default: return this.#empty()
    }
  }

  /** While a part is measured something may be asked of it: its shaft turned, and the like. */
  #listen(asked: string, told: NonNullable<Seen['told']> | null): void {
    if (told?.tone !== 'ask' || told.text === this.#asked) return
    this.#asked = told.text
    const isName = told.text === asked || told.text === `standard ${asked}` || isOfZero(asked)
    if (!isName) this.#options.hands.hear('ask', told.text)
  }

  #empty(): void {
    this.#waiting()
    this.#hand = null
    this.#options.hands.take()
  }

  /** It is empty, and a person who has looked says so. */
  #emptied(): void {
    this.#empty()
    this.#after(thinkMs, () => void this.#options.say('measure'))
  }

  #bring(asked: string): void {
    if (this.#hand?.for === asked) return
    const isMixedUp = asked === this.#mixUp?.asked && !this.#once.has(asked)
    const name = isMixedUp ? this.#mixUp.taken : asked
    const part = this.#options.drawer.find(name)
    if (!part) return this.#onceThen('skip', asked)
    if (isMixedUp) this.#happened = { ...this.#mixUp, noticed: false }
    this.#once.add(asked)
    this.#hand = { for: asked, name }
    this.#options.hands.put(part)
    this.#tries = 0
    this.#asked = ''
    this.#after(patienceMs, () => this.#loseHeart(asked))
  }

  #loseHeart(asked: string): void {
    if (++this.#tries > triesMost) return this.#onceThen('skip', asked)
    void this.#options.say('measure')
    this.#after(patienceMs, () => this.#loseHeart(asked))
  }

  /** The bench wonders whether this is the right part: a person looks, and knows. */
  #answer(asked: string, question: string): void {
    const right = this.#options.drawer.find(asked)
    if (right === null || this.#hand?.name === asked) return this.#tellOf(asked, question)
    this.#hand = { for: asked, name: asked }
    if (this.#happened) this.#happened = { ...this.#happened, noticed: true }
    this.#after(thinkMs, () => {
      this.#options.hands.put(right)
      this.#after(swapMs, () => void this.#options.say('again'))
    })
  }

  /** Hands put plus to terminal 1, by its mark; of anything else they know no more than the bench. */
  #tellOf(asked: string, question: string): void {
    const isPolarity = question.includes('plus at 1') && !this.#once.has(`plus ${asked}`)
    if (isPolarity) this.#once.add(`plus ${asked}`)
    this.#after(thinkMs, () => void this.#options.say(isPolarity ? 'plus at 1' : 'keep'))
  }

  /** Says it once of each; what comes again is not to be mended by these hands. */
  #onceThen(deed: string, of: string): void {
    const isAgain = this.#once.has(`${deed} ${of}`)
    this.#once.add(`${deed} ${of}`)
    this.#after(thinkMs, () => void this.#options.say(isAgain ? 'end' : deed))
  }

  #after(ms: number, act: () => void): void {
    this.#waiting()
    this.#waiting = this.#options.clock.after(ms, act)
  }
}

/** Nothing is asked of either once it is in hand. */
const isOfZero = (asked: string): boolean => asked === 'empty jig' || asked === 'shorting wire'

/** Two sound resistors of very different values. */
function mixUpOf({ parts }: Drawer, random: SeededRandom): Omit<MixUp, 'noticed'> | null {
  const resistors = [...parts].filter(([, { truth }]) => truth.kind === 'resistor' && truth.defect === null)
  if (resistors.length === 0) return null
  const [asked, { truth: { rating: { value } } }] = random.pick(resistors)
  const others =
    resistors.filter(([, { truth: { rating } }]) => Math.abs(Math.log(rating.value / value)) > 1.5)
  return others.length === 0 ? null : { asked, taken: random.pick(others)[0] }
}
