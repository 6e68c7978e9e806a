/** What the profiles of a bench's instruments declare is held against every plan that energises, from the file on. */
import { mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, describe, expect, it } from 'vitest'
import { scenarioHealthyRack } from '../../mocks/bench/scenarios.ts'
import { packageFile } from '../../src/base/paths.ts'
import { virtualBench } from '../nights/virtual-bench.ts'

const folders: string[] = []
afterEach(() => { for (const folder of folders.splice(0)) rmSync(folder, { recursive: true, force: true }) })

/** A folder of own profiles that holds one shipped profile, changed in one place. */
function changed(profile: string, from: string, to: string): string {
  const folder = mkdtempSync(join(tmpdir(), 'profiles-'))
  folders.push(folder)
  mkdirSync(join(folder, 'instruments'))
  const text = readFileSync(packageFile('profiles', 'instruments', `${profile}.yaml`), 'utf8')
  expect(text).toContain(from)
  writeFileSync(join(folder, 'instruments', `${profile}.yaml`), text.replace(from, to))
  return folder
}

const bench = (ownProfiles?: string) =>
  virtualBench(scenarioHealthyRack(2, 31), 31, ownProfiles === undefined ? {} : { ownProfiles })

describe('making a plan', () => {
  it.each(['reform', 'leakage-soak', 'bench-check'])('refuses %s where a profile does not declare what the fixture asks, and touches nothing', async sequence => {
    const { night, sim } = await bench(changed('relay-board-a', 'betweenChannelsV: 1000, ', ''))
    const parts = sequence === 'bench-check' ? { parts: [] } : {}
    await expect(night({ sequence, ...parts })).rejects.toThrow(/positions \(relay-board-a\): volts between channels: not declared, needs at least 600 V/)
    expect(sim.audit().busMaxV).toBe(0)
  })

  it('lets the same bench plan with the profile as it ships, and counts the closures of a scanner contact', async () => {
    const { daemon, request } = await bench()
    const plan = await daemon.plan(request)
    expect(plan.refusals).toEqual([])
    expect(plan.scannerClosures).toBe(Math.ceil(plan.longestS / 2.5))
  })

  it('cautions of a part that its unit asks too much of, and of no other, and refuses neither', async () => {
    const { daemon, request } = await bench()
    const [first, second] = request.parts
    const [hot, mild] = [{ ...first!, serviceC: 90, serviceV: 400 }, { ...second!, serviceC: 45, serviceV: 400 }]
    const asked = await daemon.plan({ ...request, parts: [hot, mild] })
    const plain = await daemon.plan(request)
    expect(asked.refusals).toEqual([])
    expect(asked.warnings.filter(text => !plain.warnings.includes(text)))
      .toEqual([`${hot.position} ${hot.part}: 90 °C in its unit are more than the 85 °C of its data sheet`])
    expect((await daemon.plan({ ...request, parts: [hot] })).steps).toEqual((await daemon.plan({ ...request, parts: [first!] })).steps)
  })

  it('tells every wrong parameter with what belongs there, and the key that was meant', async () => {
    const { daemon, request } = await bench()
    const asked = daemon.plan({ ...request, parameters: { soak: 3, slewVPerS: 'fast' } })
    await expect(asked).rejects.toMatchObject({ code: 'USAGE' })
    await expect(asked).rejects.toThrow(/\n {2}soak: expected a known key: did you mean soakS\?, got the key "soak"/)
    await expect(asked).rejects.toThrow(/\n {2}slewVPerS: expected a number in volts a second, got "fast"/)
  })

  it('tells every part whose profile there is none of, with the one that was meant', async () => {
    const { daemon, request } = await bench()
    const [first, second] = request.parts
    const parts = [{ ...first!, profile: 'al-450v-47u-generel' }, { ...second!, profile: 'nothing-like-it-at-all' }]
    await expect(daemon.plan({ ...request, parts })).rejects.toMatchObject({
      code: 'FILE_INVALID', context: { problems: [
        { path: 'parts[0].profile', expected: 'a part profile: did you mean al-450v-47u-general?', got: '"al-450v-47u-generel"' },
        { path: 'parts[1].profile', expected: 'a part profile', got: '"nothing-like-it-at-all"' },
      ] },
    })
  })

  it.each(['reform', 'capacitor-check'])('refuses %s of parts whose print is not what their profile says, and takes those whose is', async sequence => {
    const { daemon, request, sim } = await bench()
    const [first, second] = request.parts
    const asked = (...printed: object[]) => daemon.plan({
      ...request, sequence, parameters: {}, parts: [{ ...first!, ...printed[0] }, { ...second!, ...printed[1] }],
    })
    expect((await asked({ ratedV: 450, capacitanceF: 51e-6 }, { capacitanceF: 43e-6 })).refusals).toEqual([])
    expect((await asked({ ratedV: 350 }, { capacitanceF: 32e-6 })).refusals).toMatchObject([
      { what: 'rated voltage as printed', have: '350 V', need: '450 V', position: 'P01' },
      { what: 'capacitance as printed', position: 'P02', wayOut: expect.stringContaining('not al-450v-47u-general') as string },
    ])
    expect(sim.audit().busMaxV).toBe(0)
  })

  it('asks nothing of the kind of a sequence without energy', async () => {
    const { daemon, request } = await bench(changed('relay-board-a', 'betweenChannelsV: 1000, ', ''))
    const plan = await daemon.plan({ ...request, sequence: 'capacitor-check' })
    expect(plan.refusals).toEqual([])
    expect(plan.scannerClosures).toBeUndefined()
  })

  it('warns where a night wears a contact', async () => {
    const { daemon, request } = await bench(changed('scanner-a', 'life: 1.0e+8', 'life: 1.0e+6'))
    expect((await daemon.plan(request)).warnings).toContainEqual(expect.stringMatching(/^scanner \(scanner-a\): up to \d+ closures/))
  })
})
