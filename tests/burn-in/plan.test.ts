import { describe, expect, it } from 'vitest'
import { burnInParameters, burnInWork } from '../../src/burn-in/work.ts'
import { placesOf } from '../../src/powering/places.ts'
import { stand as standSchema, type StandSpec } from '../../src/schema/stand.ts'
import { profile, request, stand, ways } from '../powering/fake-stand.ts'
import { WarmStand, warmStand } from './warm-stand.ts'

function plan(given: object = {}, { spec = warmStand, roles = new WarmStand(1).roles(), unit = profile() }: { spec?: StandSpec; roles?: ReturnType<WarmStand['roles']>; unit?: ReturnType<typeof profile> } = {}) {
  const { places } = placesOf(unit, spec, request().wiring)
  return burnInWork.plan({ profile: unit, stand: spec, places, roles, ways, use: 'unattended' }, burnInParameters.parse(given))
}

describe('the plan of a burn-in', () => {
  it('says each phase, how long, and how much is driven for long', () => {
    const found = plan({ programme: [{ kind: 'idle', forS: 3600 }, { kind: 'tone', forS: 20_000, powerShare: 0.25 }] })
    expect(found.steps.map(({ seconds }) => seconds)).toEqual([30, 3600, 20_000, 60])
    expect([found.drivenShare, found.refusals, found.warnings]).toEqual([0.25, [], []])
  })
  it('leaves out what counted already, and refuses what is done', () => {
    const programme = [{ kind: 'idle', forS: 3600 }, { kind: 'tone', forS: 20_000 }]
    expect(plan({ programme, alreadyCountedS: 5000 }).steps.map(({ seconds }) => seconds)).toEqual([30, 18_600, 60])
    expect(plan({ programme, alreadyCountedS: 23_600 }).refusals[0]!.what).toMatch(/counted already/)
  })
  it('drives nothing in idle alone', () => {
    expect(plan({ programme: [{ kind: 'idle', forS: 20_000 }] }).drivenShare).toBe(0)
  })
  it('refuses a drive of an output that nothing hears, unless its gain is given', () => {
    const { digitizer: _, ...deaf } = new WarmStand(1).roles()
    expect(plan({}, { roles: deaf }).refusals.map(({ what }) => what)).toEqual(['the gain of left'])
    const found = plan({ gain: 28 }, { roles: deaf })
    expect(found.refusals).toEqual([])
    expect(found.warnings.join()).toMatch(/joint that opens/)
  })
  it('refuses a load that does not stand the loudest, and frequencies that the generator has not', () => {
    const roles = new WarmStand(1).roles()
    expect(plan({ programme: [{ kind: 'music', forS: 20_000, powerShare: 0.2 }] }, { roles: { ...roles, load: { ...roles.load!, peakW: 59 } } }).refusals.map(({ what }) => what)).toEqual(['load of left at the loudest'])
    expect(plan({ programme: [{ kind: 'tone', forS: 20_000, frequencyHz: 20 }] }, { roles: { ...roles, generator: { ...roles.generator!, frequencyMinHz: 50 } } }).refusals[0]!.what).toMatch(/frequencies/)
  })
  it('warns where the air is not read, where nothing comes to rest, and of low tones', () => {
    expect(plan({}, { spec: standSchema.parse(stand) }).warnings.join()).toMatch(/nothing reads the air/)
    expect(plan({ programme: [{ kind: 'tone', forS: 3600 }] }).warnings.join()).toMatch(/no drift/)
    expect(plan({ programme: [{ kind: 'noise', forS: 20_000, lowHz: 20 }] }).warnings.join()).toMatch(/DC .* 20 Hz/)
  })
})
