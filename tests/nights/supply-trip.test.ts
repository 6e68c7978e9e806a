/** A supply whose own protection stands tripped from before the run. */
import { describe, expect, it } from 'vitest'
import { pair } from '../../nights/acts.ts'
import { quick } from '../../nights/bad-night.ts'
import { CampaignBench } from '../../nights/campaign-bench.ts'

async function runAfterTrip(restores: boolean) {
  const bench = new CampaignBench(pair(5), 5)
  return await bench.clock.run((async () => {
    await bench.boot()
    const { psu } = bench.sim.instruments
    psu.core.tripped.overVoltage = true
    if (restores) psu.device.faults.set({ kind: 'clear-restores-output' })
    const { id } = await bench.daemon.start({ ...bench.request, parameters: { ...quick, soakS: 60 } })
    const run = await bench.daemon.ended(id)
    return { run, psu, bench, events: await bench.store.events(id) }
  })())
}

describe('a supply whose protection tripped before the run', () => {
  it('is cleared in arming, on record, and the night is as any other', async () => {
    const { run, events, psu } = await runAfterTrip(false)
    expect(run.state).toBe('done')
    expect(psu.core.anyTrip).toBe(false)
    const kinds = events.map(({ kind }) => kind)
    expect(kinds.indexOf('cleared')).toBeGreaterThan(-1)
    expect(kinds.indexOf('cleared')).toBeLessThan(kinds.indexOf('energise'))
    expect(events.find(({ kind }) => kind === 'cleared')!.text).toContain('over-voltage')
  })

  it('and comes on as it is cleared: the run does not energise', async () => {
    const { run, events, psu, bench } = await runAfterTrip(true)
    expect(run.state).not.toBe('done')
    expect(events.some(({ kind }) => kind === 'energise')).toBe(false)
    expect(psu.core.on).toBe(false)
    expect(bench.feeding).toBe(false)
  })
})
