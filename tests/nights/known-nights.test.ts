/** Nights that the campaign found, and that only a whole drawn night shows. */
import { expect, it } from 'vitest'
import { campaignNight } from '../../nights/campaign-night.ts'
import './bad-night.ts'

it('a part on an open lead when daemon and keeper are killed: who proves by hand finds it charged, and it stays latched', async () => {
  const report = await campaignNight(4100036)
  expect(report.faults).toEqual(['lead open', 'daemon and keeper killed'])
  expect(report.states).toEqual(['discharge done', 'leakage-soak interrupted'])
  expect(report.violations).toEqual([])
})
