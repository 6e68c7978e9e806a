import { writeFileSync } from 'node:fs'
import { describe, expect, it } from 'vitest'
import { scenarioPavilion } from '../../mocks/bench/scenarios.ts'
import { virtualBench } from './virtual-bench.ts'

describe('the pavilion night', () => {
  it.each([7, 2])('seed %i ends done, with each part graded as what it is', async seed => {
    const bench = await virtualBench(scenarioPavilion(seed), seed)
    const started = process.hrtime.bigint()
    const run = await bench.night({ parameters: { maxStepS: 3600 } })
    const wallS = Number(process.hrtime.bigint() - started) / 1e9
    const events = await bench.store.events(run.id)
    if (process.env['SHOW']) {
      const lines = events.map(event => `${(event.atMs / 3600e3).toFixed(3)} ${event.kind} ${event.text} ${JSON.stringify(event.data ?? {})}`)
      lines.push(`${run.state} ${wallS} s ${bench.clock.monotonicMs() / 3600e3} h`)
      for (const t of bench.sim.truth()) {
        const result = (await bench.store.results(run.id)).find(r => r.position === t.position)
        lines.push(`${t.position} ${t.kind} | ${result?.grade} ${result?.disposition} | ${result?.reason} | ${t.grades} ${t.dispositions}`)
      }
      writeFileSync(process.env['SHOW'], lines.join('\n'))
    }
    expect(run.state).toBe('done')
    const results = await bench.store.results(run.id)
    for (const t of bench.sim.truth()) {
      const result = results.find(r => r.position === t.position)!
      expect(t.grades, `${t.position} ${t.kind}: ${result.reason}`).toContain(result.grade)
      expect(t.dispositions).toContain(result.disposition)
    }
  }, 120_000)
})
