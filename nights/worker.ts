/** Runs nights for the parent, one at a time, and sends a report of each. Ended and replaced before it grows. */
import { campaignNight } from './campaign-night.ts'
import { canaries } from './canaries.ts'
import { disable, seamsOf } from './canary.ts'

export interface Job { seed: number; canary: string | null }

let canarySet: string | null = null

process.on('message', (job: Job) => {
  const canary = canaries.find(({ mechanism }) => mechanism === job.canary)
  if (canary && job.canary !== canarySet) disable(canary)
  canarySet = job.canary
  void campaignNight(job.seed, canary ? seamsOf(canary) : {})
    .then(report => { process.send!({ ...report, rssMb: process.memoryUsage.rss() / 1e6 }) })
})
process.on('disconnect', () => process.exit(0))
