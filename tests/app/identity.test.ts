import { describe, expect, it } from 'vitest'
import { virtualBench } from '../../benchmarks/virtual-bench.ts'
import { control } from '../../mocks/bench/control.ts'
import { scenarioHealthyRack } from '../../mocks/bench/scenarios.ts'

const make = async () => await virtualBench(scenarioHealthyRack(1, 5), 5)
const sent = (bench: Awaited<ReturnType<typeof make>>, instrument: string): string[] =>
  (control(
    bench.sim, { do: 'received', instrument }
  ) as { text?: string }[]).map(entry => JSON.stringify(entry))

describe('the check of instruments', () => {
  it('finds that every profile fits, with its roles, and changes nothing', async () => {
    const bench = await make()
    const before = Object.fromEntries(
      ['psu', 'relays', 'cutoff'].map(name => [name, sent(bench, name).length])
    )
    const checks = await bench.clock.run(bench.daemon.checkInstruments())
    expect(checks.length).toBeGreaterThan(8)
    for (const { name, selfCheck } of checks) expect(selfCheck, name).toMatchObject(
      { waiting: [], wrong: [] }
    )
    expect(checks.find(({ name }) => name === 'psu')!.selfCheck!.asked).toBeGreaterThan(8)
    expect(checks.find(({ name }) => name === 'relays')!.roles).toEqual(['positions', 'bleed'])
    for (const [name, count] of Object.entries(before)) {
      const asked = sent(bench, name).slice(count)
      expect(asked.length).toBeGreaterThan(1)
      expect(asked.filter(text => !text.includes('?')), name).toEqual([])
      expect(asked.join(' ')).not.toContain('*TST')
    }
  })

  it('tells of an error that was waiting in the queue, once', async () => {
    const bench = await make()
    bench.sim.instrument('psu').receive(Buffer.from('FLY:AWAY 1\r\n'), () => {})
    const [first] = await bench.clock.run(bench.daemon.checkInstruments(['psu']))
    expect(first!.selfCheck!.waiting).toEqual([expect.stringContaining('-113')])
    const [second] = await bench.clock.run(bench.daemon.checkInstruments(['psu']))
    expect(second!.selfCheck).toMatchObject({ waiting: [], wrong: [] })
  })

  it('asks nothing further of another instrument than the one entered', async () => {
    const bench = await make()
    control(bench.sim, { do: 'fault', instrument: 'bus-dmm', fault: {
      kind: 'swapped-identity', value: 'OTHER,THING,1,1'
    } as never })
    const [check] = await bench.clock.run(bench.daemon.checkInstruments(['bus-dmm']))
    expect(check).toMatchObject({ matches: false, identity: 'OTHER,THING,1,1', selfCheck: null })
    await expect(bench.clock.run(bench.daemon.checkInstruments(['psu', 'kettle']))).rejects.toMatchObject({
      code: 'NOT_FOUND', message: expect.stringMatching(/one of psu, .*got kettle/) as string,
    })
  })

  it('asks for identities alone while a run goes on, and opens no port then', async () => {
    const bench = await make()
    const run = await bench.clock.run(bench.daemon.start(bench.request))
    const checks = await bench.clock.run(bench.daemon.checkInstruments())
    expect(checks.every(({ matches, selfCheck }) => matches && selfCheck === null)).toBe(true)
    await expect(bench.daemon.probe('tcp://127.0.0.1:1')).rejects.toMatchObject({ code: 'REFUSED' })
    await bench.clock.run(
      (async () => { await bench.daemon.stop('enough'); await bench.daemon.ended(run.id) })()
    )
  })
})
