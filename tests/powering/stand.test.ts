/** First power over real drivers, sessions and keeper, on simulated instruments around a simulated amplifier. */
import { describe, expect, it } from 'vitest'
import type { UnitFault } from '../../mocks/units/faults.ts'
import { monitorAmplifier, pavilionAmplifier } from '../../mocks/units/scenario.ts'
import { powerOn, virtualStand } from '../../nights/virtual-stand.ts'
import { ProfileFolder } from '../../src/app/files.ts'
import { firstPower, firstPowerParameters } from '../../src/powering/first-power.ts'
import { runPower } from '../../src/powering/runner.ts'
import { unitRequest } from '../../src/schema/stand.ts'
import type { UnitProfile } from '../../src/schema/unit-profile.ts'

const unitOf = { amplifier: pavilionAmplifier, monitor: monitorAmplifier } as const
const profileOf = (which: keyof typeof unitOf): UnitProfile => new ProfileFolder(null).unit(`saltmarsh-pavilion-${which}`).profile
const requestFor = (profile: UnitProfile) => unitRequest.parse({
  unit: profile.unit, specimen: 'pavilion-1',
  unpowered: {
    by: 'a qualified person', earthBondOhm: 0.05, insulationOhm: 40e6, insulationV: 500,
    fuse: profile.supply.kind === 'mains' ? profile.supply.fuse : '', mainsPartsProven: true, railsNotShorted: true,
  },
})
const parameters = firstPowerParameters.parse({ limitedS: 20, fullS: 60, warmS: 900 })

type Before = (stand: Awaited<ReturnType<typeof virtualStand>>) => void
async function run(faults: readonly UnitFault[], seed = 11, before: Before = () => {}, which: keyof typeof unitOf = 'amplifier') {
  const stand = await virtualStand(unitOf[which](seed, faults).made.world, seed)
  before(stand)
  const profile = profileOf(which)
  const { handles, stopPulse } = await powerOn(stand, profile, requestFor(profile))
  const ended = await stand.clock.run(
    runPower(handles, (power, sweep) => firstPower(power, sweep, parameters)).finally(stopPulse))
  const texts = (await stand.store.events('run-1')).map(({ kind, text }) => `${kind}: ${text}`)
  return { ...ended, stand, texts, latched: handles.power.supervisor.latched }
}

describe('the first power of a simulated amplifier over the wire', () => {
  it('takes a sound one to full mains, and leaves it off and dead', async () => {
    const { state, result, isDead, stand, texts, latched } = await run([])
    expect([state, latched?.text ?? null, result?.grade]).toEqual(['done', null, 'accept'])
    expect(isDead, texts.join('\n')).toBe(true)
    expect(stand.sim.isOn).toBe(false)
    expect(stand.sim.unit.harms).toEqual([])
  })

  const wrong: [UnitFault, RegExp][] = [
    ['rail-fuse-open', /./], ['mains-short', /mains\.current|mains\.power/], ['shorted-output', /./],
    ['bias-high', /idle/],
  ]
  it.each(wrong)('does not pass one with %s, and leaves it off', async (fault, why) => {
    const { state, result, stand, latched, texts } = await run([fault])
    const found = latched?.id ?? `${result?.grade}: ${result?.reason}`
    expect(state === 'tripped' || result?.grade === 'reject', `${state} ${found}\n${texts.join('\n')}`).toBe(true)
    expect(found).toMatch(why)
    expect(stand.sim.isOn).toBe(false)
  })

  it('takes a sound valve one of some 300 V to full mains, and leaves it off and dead', async () => {
    const { state, result, isDead, stand, texts, latched } = await run([], 21, () => {}, 'monitor')
    expect([state, latched?.text ?? null, result?.grade], texts.join('\n')).toEqual(['done', null, 'accept'])
    expect(isDead, texts.join('\n')).toBe(true)
    expect(stand.sim.highestV()).toBeLessThan(60)
    expect(stand.sim.unit.harms).toEqual([])
  })

  it('says that a rail stands whose bleeder is open, with its volts', async () => {
    const { isDead, stand, texts } = await run(['open-bleeder'], 22, () => {}, 'monitor')
    expect(stand.sim.highestV()).toBeGreaterThan(60)
    expect(isDead).toBe(false)
    expect(texts.filter(text => text.startsWith('touch:')).at(-1)).toMatch(/NOT SAFE TO TOUCH \(\S+ \d+\.\d V\)/)
  })

  it('calls a rail unmeasured whose probe comes off, and trips', async () => {
    const { state, isDead, texts, stand } = await run([], 23, ({ sim, clock }) => {
      const look = (): void => {
        if (sim.highestV() > 250) clock.after(3000, () => sim.off.add(sim.tips[0]!.name))
        else clock.after(500, look)
      }
      look()
    }, 'monitor')
    expect([state, isDead, stand.sim.isOn], texts.join('\n')).toEqual(['tripped', false, false])
    expect(texts.filter(text => text.startsWith('touch:')).at(-1)).toContain('UNMEASURED')
  })

  it('is off when the power meter goes silent, through the keeper', async () => {
    const { state, stand, latched } = await run([], 12, ({ sim, clock }) => {
      const look = (): void => {
        if (sim.isOn) clock.after(5000, () => sim.instruments.watts.device.faults.set({ kind: 'silent' }))
        else clock.after(200, look)
      }
      look()
    })
    expect(state).toBe('tripped')
    expect(latched!.text).toMatch(/mains|answer|watts/)
    expect(stand.sim.isOn).toBe(false)
  })

  it('is off within its hold time when the keeper stands still', async () => {
    const stand = await virtualStand(pavilionAmplifier(13).made.world, 13)
    const { clock, composed, sim, keeper } = stand
    await clock.run(keeper.arm(composed.table, 1000))
    await clock.run(composed.roles['mains-switch']!.close('full'))
    expect(sim.isOn).toBe(true)
    // Nobody beats: the keeper makes it safe by itself.
    await clock.run(new Promise<void>(resolve => { clock.after(5000, resolve) }))
    expect(sim.isOn).toBe(false)
    await expect(clock.run(composed.roles['mains-switch']!.close('full'))).rejects.toThrow()
    expect(sim.isOn).toBe(false)
  })
})
