/**
 * The supply's own communication watchdog: the output goes off when no line reached the supply for a time.
 * Any line feeds it, so it says nothing of limits; it stands for the link, the keeper and the host.
 */
import { BenchError, hasCode } from '../base/errors.ts'
import { watchdogSeconds } from '../safety/silence.ts'
import type { SafeOffReport } from '../schema/application.ts'
import type { Supply } from '../schema/roles.ts'
import type { Night } from './night.ts'

/**
 * Arms it where the supply has one and sees that it took. Resolves with the seconds, or null where there is
 * none. Rejects REFUSED when what is read back is not what was set: such a watchdog may be no layer at all.
 */
export async function armWatchdog(night: Night): Promise<number | null> {
  const supply = night.roles.supply as Supply
  if (supply.watchdogS === null) return null
  const seconds = Math.max(watchdogSeconds(night.bench.cadence), supply.watchdogS.min)
  night.state.watchdogS = seconds
  try {
    return await supply.armWatchdog(seconds)
  } catch (error) {
    if (!hasCode(error, 'READ_BACK', 'OUT_OF_RANGE', 'INSTRUMENT_ERROR', 'ANSWER_FORM')) throw error
    const what = `the supply's communication watchdog cannot be armed: ${(error as Error).message}`
    throw new BenchError('REFUSED', what, { instrument: supply.name })
  }
}

/**
 * Ends it once the supply was read back off, so that it does not trip when nobody asks it any more. Where it
 * was not seen off the watchdog stays: it is what is left. Never rejects.
 */
export async function endWatchdog(night: Night, report: SafeOffReport): Promise<void> {
  const { supply } = night.roles
  if (!supply || night.state.watchdogS === undefined) return
  const isOff = report.links.some(({ link, verified }) => link === supply.name && verified === true)
  const tell = (severity: 'info' | 'warning', text: string): void => {
    void night.recorder.event({ kind: 'watchdog', severity, text }).catch(() => {})
  }
  if (!isOff) {
    return tell('warning',
      `the supply was not seen off: its communication watchdog (${night.state.watchdogS} s) stays armed`)
  }
  try {
    await supply.disarmWatchdog()
    delete night.state.watchdogS
  } catch (error) {
    tell('warning', `the supply's communication watchdog stays armed: ${(error as Error).message}`)
  }
}
