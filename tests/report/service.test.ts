import { describe, expect, it } from 'vitest'
import { ProfileFolder } from '../../src/app/files.ts'
import { unitParts } from '../../src/app/units.ts'
import { recordCsv } from '../../src/report/csv.ts'
import { recordHtml } from '../../src/report/html.ts'
import { recordJson } from '../../src/report/json.ts'
import { buildRecord } from '../../src/report/record.ts'
import { inServiceOf, inServiceWords, lifeWords } from '../../src/report/service.ts'
import { csvCells, csvHeadings, serviceLines, unitHtml, unitPage } from '../../src/report/unit-page.ts'
import type { LoadedPart } from '../../src/schema/run.ts'
import { storeWithNight } from './sample-night.ts'

const asking = {
  ratedV: 450, life: { ratedH: 2000, atC: 85, source: 'a data sheet <script>' },
  derate: { aboveC: 60, sharePerK: 0.01, source: 'an invented note' },
}

/** One part, formed in a night whose rack list says `said` of it, by a profile with or without what asks. */
async function night(said: Pick<LoadedPart, 'serviceC' | 'serviceV'>, asks: boolean) {
  const shipped = new ProfileFolder(null).part('al-450v-10u-general').profile
  const store = await storeWithNight({
    parts: 1, partName: () => 'pavilion-C1', run: { setup: {
      plan: { targetV: 450 }, parts: [{ name: 'can-450v', hash: 'cd34', profile: { ...shipped, ...asks ? asking : {} } }],
      request: { parts: [{ position: 'P01', part: 'pavilion-C1', profile: 'can-450v', ...said }] },
    } },
  })
  return { store, record: await buildRecord(store, 'R1') }
}

describe('a part in its unit', () => {
  it('is told of only where its profile asks, and somebody said how warm it gets', () => {
    expect(inServiceOf(asking, {})).toBeNull()
    expect(inServiceOf({ ratedV: 450 }, { serviceC: 45 })).toBeNull()
    expect(inServiceOf(asking, {}, 45)).toMatchObject({ temperatureC: 45, temperatureFrom: 'unit', volts: 450, voltsFrom: 'rating' })
    expect(inServiceOf(asking, { serviceC: 55, serviceV: 400 }, 45)).toMatchObject({ temperatureC: 55, temperatureFrom: 'rack list', volts: 400, cautions: [] })
  })

  it('has its life with a range, its source, and the word that what is used up is not known', () => {
    const service = inServiceOf(asking, { serviceC: 45 })!
    expect(service.life!.hours).toBeCloseTo(32_000, 6)
    expect(lifeWords(service.life!)).toMatch(/^about 32,000 h \(3\.7 years\), from [\d,]+ to [\d,]+ h \([\d.]+ to [\d.]+ years\)$/)
    const made = service.madeOf.join('\n')
    for (const words of ['2000 h at 85 °C and rated volts: a data sheet', 'rule of thumb', 'rated volts are taken', 'used up already is not known', 'an invented note']) {
      expect(made).toContain(words)
    }
    expect(inServiceOf(asking, { serviceC: 45, serviceV: 300 })!.madeOf.join()).toContain('from memory')
  })

  it.each([
    [60, 450, true], [60.1, 450, false], [70, 405, true], [70, 405.1, false], [45, 451, false], [85, 300, true], [86, 300, false],
  ])('at %d °C and %d V is within what it is rated for: %s', (serviceC, serviceV, within) => {
    const service = inServiceOf(asking, { serviceC, serviceV })!
    expect(service.cautions.length === 0).toBe(within)
    expect(service.life !== null).toBe(within)
    expect(inServiceWords(service).includes('CAUTION')).toBe(!within)
  })
})

describe('the record of a part that its profile asks of', () => {
  it('says it in HTML, CSV and JSON, with sources and escaped, and leaves the grade as it is', async () => {
    const { record } = await night({ serviceC: 70, serviceV: 440 }, true)
    const { record: plain } = await night({ serviceC: 70, serviceV: 440 }, false)
    expect(record.parts[0]!.result).toEqual(plain.parts[0]!.result)
    const page = recordHtml(record)
    expect(page).toContain('CAUTION: 440 V in its unit are more than the 405 V to which it is rated at 70 °C')
    expect(page).toContain('an invented note')
    expect(page).not.toContain('<script>')
    const [head, row] = recordCsv(record).split('\r\n')
    expect(head).toContain(',service_c,service_v,life_h,life_low_h,life_high_h,derated_v,service_cautions,service_made_of')
    expect(row).toContain(',70,440,,,,405,')
    expect(JSON.parse(recordJson(record))).toMatchObject({ parts: [{ inService: { deratedV: 405, life: null } }] })
    expect(recordHtml((await night({ serviceC: 45 }, true)).record)).toContain('a new one may last about 32,000 h')
  })

  it('says nothing where nobody asks or tells', async () => {
    for (const { record } of [await night({ serviceC: 45 }, false), await night({}, true)]) {
      expect(record.parts[0]!.inService).toBeNull()
      expect(recordHtml(record)).not.toContain('In its unit')
    }
  })
})

describe('the page of a unit', () => {
  const lines = [{ designator: 'C1', what: 'capacitor', ratedV: 450, wanted: { action: 'prove' as const, reason: '' } }]
  const shown = async (said: Parameters<typeof night>[0], insideC?: number) => {
    const { store } = await night(said, true)
    return unitPage(lines, await unitParts(store, { unit: 'pavilion', designators: ['C1'], ...insideC === undefined ? {} : { insideC } }), null)
  }

  it('has the estimate of the rack list, else of the whole unit, with what it is made of', async () => {
    const page = await shown({ serviceC: 55, serviceV: 400 }, 45)
    expect(page.rows[0]!.inService).toMatchObject({ temperatureC: 55, temperatureFrom: 'rack list' })
    expect((await shown({}, 45)).rows[0]!.inService).toMatchObject({ temperatureC: 45, temperatureFrom: 'unit' })
    expect(unitHtml(page)).toMatch(/at 55 °C and 400 V: a new one may last about/)
    expect(unitHtml(page)).not.toContain('<script>')
    expect(csvCells(page.rows[0]!)).toHaveLength(csvHeadings.length)
    expect(csvCells(page.rows[0]!).join()).toContain('rule of thumb')
    expect(serviceLines(page.rows).join('\n')).toMatch(/C1 at 55 °C[^]*used up already is not known/)
  })

  it('changes no standing, and says nothing where nobody told how warm it is', async () => {
    const [told, untold] = [await shown({ serviceC: 70, serviceV: 449 }), await shown({})]
    expect(told.rows[0]!.standing).toBe(untold.rows[0]!.standing)
    expect(untold.rows[0]!.inService).toBeNull()
    expect(serviceLines(untold.rows)).toEqual([])
    expect(unitHtml(untold)).not.toContain('In the unit')
  })
})
