import type { HandsAtCover } from '../../schema/jig.ts'

/** What a method needs of the person while it measures: a shaft turned, leads joined, a cover closed. */
export interface Guide extends HandsAtCover {
  /** Told to the person at once. */
  say(text: string): void
  /** Called while a long measurement goes on as it should. */
  goesOn(): void
}

export const unguided: Guide = { say: () => {}, goesOn: () => {} }
