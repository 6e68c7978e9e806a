/** Nights that the campaign found, and that only a whole drawn night shows. */
import { expect, it } from 'vitest'
import { campaignNight, readingsMost } from '../../nights/campaign-night.ts'
import './bad-night.ts'

it('a part on an open lead when daemon and keeper are killed: who proves by hand finds it charged, and it stays latched', async () => {
  const report = await campaignNight(4100036)
  expect(report.faults).toEqual(['lead open', 'daemon and keeper killed'])
  expect(report.states).toEqual(['discharge done', 'leakage-soak interrupted'])
  expect(report.violations).toEqual([])
})

it('a bench check of four large parts before the forming: the soak after it is shorter, and the night keeps below its readings', async () => {
  const report = await campaignNight(52508)
  expect(report.states).toEqual(['bench-check done', 'reform done'])
  expect(report.violations).toEqual([])
  expect(report.readings).toBeGreaterThan(5000)
  expect(report.readings).toBeLessThanOrEqual(readingsMost)
}, 60_000)
