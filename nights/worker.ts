/** Runs nights for the parent, one at a time, and sends a report of each. Ended and replaced before it grows. */
import { campaignNight } from './campaign-night.ts'
import { canaries } from './canaries.ts'

export interface Job { seed: number; canary: string | null }

let canarySet: string | null = null

process.on('message', (job: Job) => {
  if (job.canary !== canarySet) { canarySet = job.canary; canaries.find(({ mechanism }) => mechanism === job.canary)!.disable() }
  const seams = canaries.find(({ mechanism }) => mechanism === job.canary)?.seams ?? {}
  void campaignNight(job.seed, seams).then(report => { process.send!({ ...report, rssMb: process.memoryUsage.rss() / 1e6 }) })
})
process.on('disconnect', () => process.exit(0))
