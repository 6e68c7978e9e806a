/** What the demo of screening shows while it goes on: leads, and each outcome as it is told. */
import type { ScreenStatus } from '../schema/screening.ts'
import { Screen, type Output } from './screen.ts'
import { isCall, screenStatusLine, toldLine } from './screen-text.ts'

export class ScreeningScreen {
  readonly #screen: Screen
  readonly #json: boolean
  #leads = ''
  #told = ''

  constructor(out: NodeJS.WritableStream, json: boolean) {
    this.#screen = new Screen(out as Output & NodeJS.WritableStream)
    this.#json = json
  }

  /** Lines that stay. With --json only the last line is JSON; these still come before it. */
  lines(lines: readonly string[]): void { for (const line of lines) this.#screen.line(line) }

  status(status: ScreenStatus): void {
    const { told, leads } = status
    if (leads !== '' && leads !== this.#leads) {
      this.#leads = leads
      this.#screen.line(`Leads: ${leads}`)
    }
    const text = told === null || isCall(told) ? '' : toldLine(told)
    if (text !== '' && text !== this.#told) {
      this.#told = text
      this.#screen.line(`  ${text}`)
    }
    if (!this.#json) this.#screen.block([screenStatusLine(status)])
  }

  end(lines: readonly string[]): void {
    this.#screen.block([])
    this.#screen.end()
    this.lines(lines)
  }
}
