/**
 * The patch of the bench is a person's: generator into digitizer, or into the unit. Mains is open and the
 * rails are dead while hands are there, and what the bench then hears says whether it was done.
 */
import { sleep } from '../base/clock.ts'
import { BenchError } from '../base/errors.ts'
import { formatSi } from '../base/format.ts'
import { isFull } from '../powering/limits.ts'
import { closeMains, driveApart, muteAll, openMains, settled } from '../powering/mains.ts'
import type { Led } from '../powering/places.ts'
import type { Power } from '../powering/power.ts'
import { railsDown } from '../powering/rails-down.ts'
import type { Reach } from '../proving/port.ts'
import type { Stand, Sweep } from './port.ts'

type To = 'loop' | 'unit'

/** So often a person may be asked again. */
const triesMost = 5

export async function patchTo(stand: Stand, reach: Reach, to: To): Promise<void> {
  const { power, patched } = stand
  await muteAll(power)
  if (power.state.live) await downFor(power, stand.sweep)
  patched.to = null
  let wrong = ''
  for (let i = 0; i < triesMost; i++) {
    const text = `${wrong}${words[to](power.places.outputs)}`
    await power.hold({
      id: `patch.${to}`, text, mainsOn: false, ...to === 'loop' ? { coverOpen: true } : {},
    })
    patched.to = 'loop'
    const found = await wrongIn(stand, reach, to)
    patched.to = to
    if (found === null) return to === 'unit' ? powerUp(stand) : undefined
    wrong = `${found}: look again; `
    await power.recorder.event({ kind: 'patch', severity: 'warning', text: found })
  }
  throw new BenchError('REFUSED', 'the patch is not as it should be', {
    expected: to === 'loop' ? 'each generator heard in its own digitizer' : 'no generator heard', got: wrong,
  })
}

const list = (outputs: readonly Led[], say: (one: Led) => string): string => outputs.map(say).join(', ')
const words: Readonly<Record<To, (outputs: readonly Led[]) => string>> = {
  loop: outputs => 'mains is open; lead the generator past the unit straight into the digitizer, '
    + 'dividers left out ('
    + list(outputs, ({ output: { generator, digitizer } }) => `channel ${generator} into ${digitizer}`)
    + '); then say go on',
  unit: outputs => 'mains is open; lead the generator into the unit, and its outputs through their dividers '
    + 'into the digitizer ('
    + list(outputs, ({ spec, output: { generator, digitizer } }) =>
      `channel ${generator} into ${spec.name}, that into ${digitizer}`)
    + '); no loudspeaker connected; cover closed, hands off; then say go on: mains comes on',
}

async function downFor(power: Power, sweep: Sweep): Promise<void> {
  await openMains(power)
  if (await railsDown(power, sweep)) return
  power.fault('rails', 'the rails were not measured dead after the mains opened')
  throw power.signal.reason as Error
}

const looksHz = 1000
/** Of the most that an input may have. */
const lookShare = 0.1
/** Heard within this of what it should be, it is led there; below a hundredth of it, it is not. */
const nearShare = 0.2
const silentShare = 0.01
const lookSamples = 4096

/** What is wrong with the patch, by driving one channel after the other; null where nothing is. */
async function wrongIn({ power }: Stand, reach: Reach, to: To): Promise<string | null> {
  power.state.stage = 'looking at the patch'
  const { generator: { sourceOhm, settleMs, levelMaxV }, digitizer: { inputOhm } } = reach
  const levelV = lookShare * levelMaxV
  const wantedV = levelV * inputOhm / (inputOhm + sourceOhm)
  const { outputs } = power.places
  const sampleHz = reach.digitizer.sampleRatesHz.find(rate => rate >= 20 * looksHz)
    ?? Math.max(...reach.digitizer.sampleRatesHz)
  for (const { spec: { name }, output: at } of outputs) {
    try {
      await driveApart(power, name, [{ frequencyHz: looksHz, levelV }])
      await sleep(power.clock, settleMs, power.signal)
      const { volts } = await power.roles.digitizer!.capture({
        channels: [at.digitizer!], sampleHz, samples: lookSamples, rangeV: 1.5 * Math.SQRT2 * levelV,
      })
      const heardV = deviation(volts[0]!)
      const isThere = Math.abs(heardV / wantedV - 1) <= nearShare
      if (to === 'loop' && !isThere) {
        return `of ${formatSi(wantedV, 'V')} from generator ${at.generator} digitizer ${at.digitizer} hears `
          + formatSi(heardV, 'V')
      }
      if (to === 'unit' && heardV > silentShare * wantedV) {
        return `digitizer ${at.digitizer} still hears generator ${at.generator} though the unit is off`
      }
    } finally {
      await muteAll(power)
    }
  }
  return null
}

function deviation(volts: Float64Array): number {
  const mean = volts.reduce((sum, v) => sum + v, 0) / volts.length
  return Math.sqrt(volts.reduce((sum, v) => sum + (v - mean) ** 2, 0) / volts.length)
}

/** By the straight way: a unit that is proven had its first power. Then until bias has come to rest. */
async function powerUp({ power, parameters: { settleS, warmS } }: Stand): Promise<void> {
  const { roles: { mainsSwitch }, state, clock, signal, stand } = power
  const full = mainsSwitch.ways.find(isFull)
  if (!full) throw new BenchError('REFUSED', 'the mains switch has no straight way')
  state.stage = 'mains on'
  await closeMains(power, full)
  await sleep(clock, 1000 * settleS, signal)
  settled(power, false)
  state.stage = 'warming up'
  await sleep(clock, 1000 * warmS, signal)
  settled(power, true)
  // One more look at everything with the bounds of a warm unit in force.
  await sleep(clock, 3 * stand.cadence.probesMs, signal)
}
