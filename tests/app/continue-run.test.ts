import { describe, expect, it } from 'vitest'
import { pair, rackOf } from '../../nights/acts.ts'
import { quick } from '../../nights/bad-night.ts'
import { CampaignBench } from '../../nights/campaign-bench.ts'
import { sleep } from '../../src/base/clock.ts'
import { recordHtml } from '../../src/report/html.ts'
import { buildRecord } from '../../src/report/record.ts'
import { exitOfRun } from '../../src/cli/exit.ts'
import { outcomeLines } from '../../src/cli/outcome.ts'
import { loadedPart, type PartResult, type RunRecord, type StartRequest } from '../../src/schema/run.ts'
import type { Store } from '../../src/schema/store.ts'
import { withoutDropped } from '../../src/app/continue-run.ts'

const who = { person: 'K. Marsh', cautionsConfirmed: true, polarityConfirmed: true }
const soakS = 120

/** A night that was interrupted in its forming, measured dead by the next daemon. */
async function interrupted(scenario = pair(3), afterMs = 400_000) {
  const bench = new CampaignBench(scenario, 3)
  const runId = await bench.clock.run((async () => {
    await bench.boot()
    const { id } = await bench.daemon.start({ ...bench.request, parameters: { ...quick, soakS } })
    await sleep(bench.clock, afterMs)
    bench.killDaemon()
    await sleep(bench.clock, 1000)
    await bench.boot()
    await bench.daemon.recovered()
    return id
  })())
  const run = <T>(work: Promise<T>): Promise<T> => bench.clock.run(work)
  return { bench, daemon: bench.daemon, store: bench.store, runId, run }
}

describe('a run that did not reach its end', () => {
  it('is continued as a new run with the same request, and the reports of both name each other', async () => {
    const { daemon, store, runId, run } = await interrupted()
    const next = await run(daemon.continueRun(runId, who))
    expect((await run(daemon.ended(next.id))).state).toBe('done')
    const [before, after] = [(await store.run(runId))!, (await store.run(next.id))!]
    expect(after.setup['continues']).toBe(runId)
    expect(after.setup['request']).toEqual({ ...before.setup['request'] as object, person: 'K. Marsh' })
    expect(after.setup['plan']).toMatchObject({ targetV: (before.setup['plan'] as { targetV: number }).targetV })
    expect(before.state).toBe('interrupted')
    const records = [await buildRecord(store, runId, { verify: true }), await buildRecord(store, next.id, { verify: true })]
    expect(records.map(({ continues, continuedBy }) => [continues, continuedBy])).toEqual([[null, next.id], [runId, null]])
    expect(records.map(({ chain }) => chain?.holds)).toEqual([true, true])
    expect(recordHtml(records[0]!)).toContain(`Continued by</dt><dd>run ${next.id}`)
    expect(recordHtml(records[1]!)).toContain(`Continues</dt><dd>run ${runId}`)
    await expect(run(daemon.continueRun(runId, who))).rejects.toThrow(`run ${next.id} came after`)
    await expect(run(daemon.continueRun(next.id, who))).rejects.toThrow('is done')
  })

  it('is not continued with nobody at the bench, or without a word on cautions and polarity', async () => {
    const { bench, daemon, runId, run } = await interrupted()
    bench.sim.switches.present = false
    await expect(run(daemon.continueRun(runId, who))).rejects.toThrow(/presence/)
    bench.sim.switches.present = true
    await expect(run(daemon.continueRun(runId, { ...who, polarityConfirmed: false }))).rejects.toThrow(/polarity/)
    await expect(run(daemon.continueRun(runId, { ...who, cautionsConfirmed: false }))).rejects.toThrow(/cautions/)
    await expect(run(daemon.continueRun('none', who))).rejects.toMatchObject({ code: 'NOT_FOUND' })
    expect(bench.feeding).toBe(false)
  })

  it('is not continued on another instrument, or with a part profile that was changed', async () => {
    const { bench, daemon, runId, run } = await interrupted()
    const meter = bench.bench.file.instruments['bus-dmm']!
    const identity = meter.identity
    meter.identity = `${identity}-other`
    await expect(run(daemon.continueRun(runId, who))).rejects
      .toMatchObject({ code: 'IDENTITY', context: { instrument: 'bus-dmm', expected: identity } })
    meter.identity = identity
    const part = bench.profiles.part.bind(bench.profiles)
    bench.profiles.part = name => ({ ...part(name), hash: 'another' })
    await expect(run(daemon.continueRun(runId, who))).rejects.toThrow(/was changed since/)
  })

  it('is not continued while what latched is not acknowledged', async () => {
    const { daemon, runId, run } = await interrupted()
    await run(daemon.stop('a smell'))
    await run(daemon.acknowledge('aired', 'K. Marsh'))
    const next = await run(daemon.continueRun(runId, who))
    await run(daemon.stop('a smell'))
    await run(daemon.ended(next.id))
    await expect(run(daemon.continueRun(next.id, who))).rejects.toMatchObject({ code: 'TRIPPED' })
    await run(daemon.acknowledge('aired', 'K. Marsh'))
    expect((await run(daemon.continueRun(next.id, who))).setup['continues']).toBe(next.id)
  })

  it('that a person closed is continued no more', async () => {
    const { daemon, store, runId, run } = await interrupted()
    await expect(run(daemon.closeRun(runId, ' ', 'K. Marsh'))).rejects.toMatchObject({ code: 'USAGE' })
    await run(daemon.closeRun(runId, 'the rack is wanted elsewhere', 'K. Marsh'))
    await expect(run(daemon.continueRun(runId, who))).rejects.toThrow(/is closed: K. Marsh closed this run: the rack/)
    await expect(run(daemon.closeRun(runId, 'again', 'K. Marsh'))).rejects.toThrow(/is closed/)
    expect(await store.verifyChain(runId)).toBeNull()
  })

  const shorting = ['shorting', { atFraction: 0.16, afterS: 30, toOhm: 200 }] as const

  it('leaves off the bus what the run had dropped, and says so', async () => {
    const { bench, store, daemon, runId, run } = await interrupted(rackOf([shorting, 'healthy'], 3), 900_000)
    const drops = (await store.events(runId)).filter(({ kind }) => kind === 'drop')
    expect(drops.map(({ position }) => position)).toEqual(['P01'])
    const takenBefore = bench.sim.instruments.relays.device.effects.list('relay 1').length
    const next = await run(daemon.continueRun(runId, who))
    expect((next.setup['request'] as StartRequest).parts.map(({ position }) => position)).toEqual(['P02'])
    expect(next.setup['leftOut']).toMatchObject([{
      position: 'P01', part: 'R-01', why: drops[0]!.text, run: runId, result: { grade: 'reject', disposition: 'replace' },
      touch: { text: expect.stringMatching(/^P01 measured below 60 V at /) as string },
    }])
    const ended = await run(daemon.ended(next.id))
    expect(ended.state).toBe('done')
    const [results, events] = [await store.results(next.id), await store.events(next.id)]
    expect(exitOfRun(ended, results)).toBe(1)
    const lines = outcomeLines(ended, results, events).join('\n')
    expect(lines).toMatch(new RegExp(`P01 +R-01 +reject +replace +run ${runId} dropped it: off the bus`))
    expect(lines).toContain('P01 measured below 60 V')
    const page = recordHtml(await buildRecord(store, next.id))
    expect(page).toContain('2 parts: 1 accept to 150 V of 450 V, 1 reject.')
    expect(page).toContain(`Stays off the bus, run ${runId} dropped it`)
    expect((await store.events(next.id)).filter(({ kind }) => kind === 'left-out')).toMatchObject([{ position: 'P01' }])
    const takes = bench.sim.instruments.relays.device.effects.list('relay 1').slice(takenBefore)
    expect(takes.filter(({ value }) => value !== 0)).toEqual([])
  })

  it('has on record what a drop said of its part, though it never came to grade', async () => {
    const { store, runId } = await interrupted(rackOf([shorting, 'healthy'], 3), 900_000)
    const [{ run, result }] = await store.partHistory('R-01') as [{ run: RunRecord; result: PartResult }]
    expect(run).toMatchObject({ id: runId, state: 'interrupted' })
    expect(result).toMatchObject({ position: 'P01', grade: 'reject', disposition: 'replace', provisional: false })
    expect(result.reason).toMatch(/P01/)
    expect(await store.partHistory('R-02')).toEqual([])
  })

  it('leaves out what the one before it had left out', async () => {
    const before = { position: 'P00', part: 'R-00', why: 'P00 off the bus', run: 'a', result: null, touch: null }
    const store = {
      run: async () => ({ setup: { leftOut: [before] } }), results: async () => [],
      events: async () => [{ kind: 'drop', position: 'P01', text: 'P01 off the bus' }],
    } as unknown as Store
    const parts = loadedPart.array().parse([{ position: 'P01', part: 'R-01', profile: 'al' }, { position: 'P02', part: 'R-02', profile: 'al' }])
    const { leftOut } = await withoutDropped(store, 'b', parts)
    expect(leftOut).toEqual([before, { position: 'P01', part: 'R-01', why: 'P01 off the bus', run: 'b', result: null, touch: null }])
  })

  it('is not continued where it had dropped every part', async () => {
    const store = {
      run: async () => ({ setup: {} }), results: async () => [],
      events: async () => [{ kind: 'drop', position: 'P01', text: 'P01 off the bus' }],
    } as unknown as Store
    const parts = loadedPart.array().parse([{ position: 'P01', part: 'R-01', profile: 'al' }, { position: 'P02', part: 'R-02', profile: 'al' }])
    await expect(withoutDropped(store, 'r', parts.slice(0, 1))).rejects.toThrow(/dropped every part/)
    expect((await withoutDropped(store, 'r', parts)).parts).toEqual(parts.slice(1))
    expect(await withoutDropped(store, 'r', [])).toEqual({ parts: [], leftOut: [] })
  })
})
