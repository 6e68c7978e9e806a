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
 * was not seen off the watchdog stays: it is what is left. A keeper that was gone meanwhile is waited for, by
 * one more safe-off. Never rejects.
 */
export async function endWatchdog(night: Night, report: SafeOffReport): Promise<void> {
  const { supply } = night.roles
  if (!supply || night.state.watchdogS === undefined) return
  const again = (): Promise<SafeOffReport> => night.guard.safeOff('the supply was not asked')
  const wasAsked = report.links.some(({ link }) => link === supply.name)
  if (!isOff(supply, wasAsked ? report : await again())) {
    const seconds = `${night.state.watchdogS} s`
    return warn(night, `the supply was not seen off: its communication watchdog (${seconds}) stays armed`)
  }
  const disarm = (): Promise<void> => supply.disarmWatchdog()
  try {
    await disarm().catch(async (error: unknown) => {
      if (!hasCode(error, 'KEEPER_GONE', 'TRIPPED') || !isOff(supply, await again())) throw error
      await disarm()
    })
    delete night.state.watchdogS
  } catch (error) {
    warn(night, `the supply's communication watchdog stays armed: ${(error as Error).message}`)
  }
}

const isOff = ({ name }: Supply, { links }: SafeOffReport): boolean =>
  links.some(({ link, verified }) => link === name && verified === true)

function warn(night: Night, text: string): void {
  void night.recorder.event({ kind: 'watchdog', severity: 'warning', text }).catch(() => {})
}
