/** What a sampling plan is, and what lots it lets pass, in words. */
import type { SampleDrawn } from '../schema/sampling.ts'

/** What the plan is, and what lots it lets pass: of so many bad parts, how often. */
export function sampleWords(sample: SampleDrawn): string[] {
  const { n, lotSize, ac, re, inspection, source, level, aql, letter, seed, curve, original } = sample
  const share = (bad: number): string => `${bad} bad (${(100 * bad / lotSize).toPrecision(2)} %)`
  const good = curve.findLast(({ accepted }) => accepted >= 0.95)
  const poor = curve.find(({ accepted }) => accepted <= 0.1)
  return [
    `${n} of ${lotSize} parts are measured: ${inspection} inspection of ${source}, level ${level}, `
      + `AQL ${aql} %, letter ${letter}; accepted with ${ac} bad, refused with ${re}`,
    ...n < lotSize && good && poor
      ? [`A lot with ${share(good.bad)} is accepted ${percent(good.accepted)} of the time, one with `
        + `${share(poor.bad)} ${percent(poor.accepted)}`] : [],
    `Drawn by the seed ${seed}; the others get no grade${original ? '' : '; inspected again'}`,
  ]
}

const percent = (chance: number): string => `${(100 * chance).toPrecision(3)} %`
