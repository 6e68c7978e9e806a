import { describe, expect, it } from 'vitest'
import { unprovedOnRecord } from '../../src/app/unproved.ts'
import { badNight, quick } from '../nights/bad-night.ts'
import { sleep } from '../../src/base/clock.ts'
import { virtualBench } from '../nights/virtual-bench.ts'
import { during, fixture, pair } from '../nights/acts.ts'

const leadOff = { seed: 3, scenario: pair(3), request: { parameters: quick }, acts: [during('soaking', 10_000, fixture('P01', 'lead-open'))] }

describe('a part that was not measured dead', () => {
  it('keeps the next run from starting until a person says what they found', async () => {
    const { bench, run } = await badNight(leadOff)
    expect(run.state).toBe('done')
    expect(bench.daemon.status().latched?.text).toMatch(/^P01 may still hold a charge: prove dead by hand/)
    await expect(bench.clock.run(bench.daemon.start(bench.request))).rejects.toMatchObject({ code: 'TRIPPED' })
    expect(bench.sim.instruments.cutoff.contact).toBe(false)
    await bench.clock.run(bench.daemon.acknowledge('discharged with the stick: 147 V', 'K. Marsh'))
    expect(bench.daemon.status().latched).toBe(null)
    const again = await bench.night({ parameters: quick })
    expect(again.state).toBe('done')
  })

  it('is found on record by a daemon that starts, until it was acknowledged', async () => {
    const { bench } = await badNight(leadOff)
    expect(await unprovedOnRecord(bench.store)).toMatch(/^P01 may/)
    await bench.clock.run(bench.daemon.acknowledge('discharged', 'K. Marsh'))
    expect(await unprovedOnRecord(bench.store)).toBe(null)
  })

  it('is none where every part was measured', async () => {
    const { bench } = await badNight({ seed: 3, scenario: pair(3), request: { parameters: quick } })
    expect(bench.daemon.status().latched).toBe(null)
    expect(await unprovedOnRecord(bench.store)).toBe(null)
  })

  it('is every part that was on the bus when the daemon was lost', async () => {
    const bench = await virtualBench(pair(3), 3)
    const running = bench.clock.run((async () => {
      await bench.daemon.start({ ...bench.request, parameters: quick })
      await sleep(bench.clock, 400_000)
      return await unprovedOnRecord(bench.store)
    })())
    expect(await running).toMatch(/^P01 P02 may still hold a charge/)
  })
})
