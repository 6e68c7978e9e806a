/** A condition that fails for long: mains off, and nothing goes on until a person says so. */
import { sleep } from '../base/clock.ts'
import { railsDown } from '../powering/rails-down.ts'
import { countedS, hoursWords, type BurnIn } from './burn-in.ts'
import { changeKey, look, tellCounted } from './count.ts'
import { switchOff } from './drive.ts'
import type { Due } from './programme.ts'
import { waitsForPerson } from './sight.ts'

const lookEveryMs = 5000

export async function pauseIfLong(b: BurnIn, due: Due): Promise<void> {
  const { gap } = b.clock
  if (gap === null) b.seenToMs = 0
  // The gap that a person ended is still open until the unit is up.
  if (gap === null || gap.lengthMs - b.seenToMs < 1000 * b.parameters.pauseAfterS) return
  const { power } = b
  const why = gap.reasons.join('; ')
  await power.recorder.event({
    kind: 'paused', severity: 'warning',
    text: `paused at ${hoursWords(countedS(b))}: for ${(gap.lengthMs / 1000).toFixed(0)} s ${why}`,
  })
  await tellCounted(b)
  await switchOff(b)
  const isDown = await railsDown(power, b.sweep)
  // A person sees to the unit next: they are not sent to what may still bite.
  if (!isDown && !power.signal.aborted) {
    power.fault('rails', 'the rails were not measured dead after the mains opened')
  }
  power.signal.throwIfAborted()
  await personSays(b, due, why)
  // What cooled meanwhile warms anew.
  changeKey(b, '')
  b.seenToMs = b.clock.gap?.lengthMs ?? 0
  b.phase = null
}

async function personSays(b: BurnIn, due: Due, why: string): Promise<void> {
  const { power } = b
  const text = `the burn-in waits at ${hoursWords(countedS(b))} of ${hoursWords(b.askedS)} because ${why}; `
    + 'see to it, cover closed, hands off; then say go on: mains comes on'
  let isOver = false
  const answered = power.hold({ id: 'burn-in.go-on', text, mainsOn: false }).finally(() => { isOver = true })
  answered.catch(() => {})
  while (!isOver) {
    await Promise.race([answered, sleep(power.clock, lookEveryMs, power.signal)])
    await look(b, due, [waitsForPerson])
  }
  await answered
}
