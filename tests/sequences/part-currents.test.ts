import { readdirSync } from 'node:fs'
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import type { PlanInput } from '../../src/engine/sequence.ts'
import { leakageLimit } from '../../src/sequences/leakage-limit.ts'
import { reformParameters } from '../../src/sequences/parameters.ts'
import type { ReformParameters } from '../../src/sequences/parameters.ts'
import { currents, partCurrents } from '../../src/sequences/part-currents.ts'
import type { PartProfile } from '../../src/schema/part-profile.ts'
import { startRequest } from '../../src/schema/run.ts'
import { ProfileFolder } from '../../src/app/files.ts'
import { packageFile } from '../../src/base/paths.ts'
import { partOf, pavilionFile } from '../safety/pavilion.ts'

function one(profile: PartProfile, limitOhm: number, slewVPerS = 1): PlanInput<ReformParameters> {
  const bench = pavilionFile()
  bench.fixture.limitOhm = limitOhm
  return {
    bench, sweepS: 1, formedAgoS: new Map(), parameters: { ...reformParameters.parse({}), slewVPerS },
    parts: [{ loaded: { position: 'P01', part: 'T-1', profile: profile.name, note: '', condition: 'sound' }, profile }],
    supply: { voltageMaxV: 600, currentMaxA: 0.85, voltageStepV: 0.02, currentStepA: 1e-4, currentErrorA: 0, outputCapacitanceF: 1e-5 },
    request: startRequest.parse({ sequence: 'reform', person: 'night watch' }),
  }
}
const limitOf = ({ leakage, capacitanceF, ratedV }: PartProfile): number => leakageLimit(leakage, capacitanceF, ratedV).limitA

describe('the current that no sound part takes', () => {
  it('lies above the leakage limit and below a short for every shipped part, or the plan refuses with the way out', () => {
    const folder = new ProfileFolder(null)
    const names = readdirSync(packageFile('profiles', 'parts')).map(name => name.replace('.yaml', ''))
    expect(names.length).toBeGreaterThan(10)
    for (const name of names) {
      const { profile } = folder.part(name)
      for (const limitOhm of [1e3, 1e4, 1e5]) {
        const input = one(profile, limitOhm, 1e-6)
        const bound = partCurrents(input, profile.ratedV)['P01']!
        const shortA = profile.ratedV / (limitOhm + input.bench.fixture.senseOhm)
        expect(bound).toBeLessThan(shortA)
        if (currents(input, profile.ratedV).length === 0) expect(bound).toBeGreaterThan(limitOf(profile))
      }
    }
  })

  it('is refused where limit and short lie too close, and what the refusal says is enough', () => {
    fc.assert(fc.property(fc.double({ min: 2e4, max: 1e6, noNaN: true }), fc.double({ min: 1e-6, max: 4e-4, noNaN: true }), (limitOhm, capacitanceF) => {
      const profile = { ...partOf(), capacitanceF }
      const input = one(profile, limitOhm, 1e-9)
      const [refusal] = currents(input, profile.ratedV)
      const shortA = profile.ratedV / (limitOhm + input.bench.fixture.senseOhm)
      if (!refusal) { expect(1.2 * limitOf(profile)).toBeLessThanOrEqual(0.9 * shortA); return }
      const mendedOhm = 0.99 * Number(/of ([\d.e+]+) Ω/.exec(refusal.wayOut)![1])
      expect(currents(one(profile, mendedOhm, 1e-9), profile.ratedV)).toEqual([])
    }))
  })

  it('refuses a slew whose charging current looks like a short, just past its bound', () => {
    const profile = partOf()
    const input = (slewVPerS: number) => one(profile, 1e5, slewVPerS)
    const most = 0.5 * (450 / 101e3) / (profile.capacitanceF * (1 + profile.tolerancePlus))
    expect(currents(input(most * 0.999), 450)).toEqual([])
    const [refusal] = currents(input(most * 1.001), 450)
    expect(refusal?.what).toMatch(/charging current/)
    expect(refusal?.wayOut).toMatch(/slewVPerS/)
  })
})
