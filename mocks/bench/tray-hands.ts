/** What a simulated person does at a tray: clears it, lays what is asked for, says so, answers questions. */
import type { Component } from '../components/component.ts'
import type { ScreenerOptions, Seen } from './screener.ts'

/** One part laid; a tray cleared; a look at what is in question, ms (ours). */
const [layMs, clearMs, thinkMs] = [2000, 8000, 1500]

export class TrayHands {
  readonly #options: ScreenerOptions
  #heard = ''
  readonly #asked = new Set<string>()

  constructor(options: ScreenerOptions) { this.#options = options }

  hear({ stands }: Seen, { stage, slots }: NonNullable<Seen['tray']>): void {
    const now = `${stands} ${stage} ${slots.map(({ position, id }) => `${position}${id}`).join()}`
    const isNew = now !== this.#heard
    this.#heard = now
    // A question that was answered may leave others.
    if (stands === 'in doubt') return this.#answer(slots)
    if (!isNew) return
    if (stands === 'clearing') this.#after(clearMs, () => this.#options.hands.layTray(new Map()))
    if (stands === 'laying') {
      this.#after(layMs * slots.length, () => {
        this.#options.hands.layTray(this.#found(stage, slots))
        void this.#options.say('laid')
      })
    }
  }

  #found(stage: string, slots: NonNullable<Seen['tray']>['slots']): Map<string, Component> {
    const { drawer } = this.#options
    return new Map(slots.flatMap(({ position, id }) => {
      const part = drawer.find(stage === 'wires' ? 'shorting wire' : id)
      return part ? [[position, part] as const] : []
    }))
  }

  /** These hands laid the right part: what is in doubt stands; what is not seen is measured all the same. */
  #answer(slots: NonNullable<Seen['tray']>['slots']): void {
    const open = slots.find(({ position, id, stands }) =>
      isOpen(stands) && !this.#asked.has(`${position} ${id} ${stands}`))
    if (!open) return this.#after(thinkMs, () => void this.#options.say('skip'))
    const { position, id, stands } = open
    this.#asked.add(`${position} ${id} ${stands}`)
    const deed = stands === 'in doubt' ? 'keep' : stands === 'nothing seen' ? 'measure' : 'again'
    this.#after(thinkMs, () => void this.#options.say(deed, position))
  }

  #after(ms: number, act: () => void): void { this.#options.clock.after(ms, act) }
}

const isOpen = (stands: string): boolean =>
  stands === 'in doubt' || stands === 'nothing seen' || stands === 'not still'
