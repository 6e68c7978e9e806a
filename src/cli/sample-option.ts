/** `--sample aql=1.0,level=II,source=…`: measure a sample of a lot alone. */
import { BenchError } from '../base/errors.ts'
import type { PartsLine } from '../schema/parts-list.ts'
import { sampleAsked, sampleAqlsOfParts, sampleLevels, type SampleAsked } from '../schema/sampling.ts'
import { fieldsOf } from './lot-options.ts'

export interface SampleFlags { sample?: string; sourceMended?: string }

const like = 'aql=1.0, and if wanted level=II,source=reels-of-4k7,seed=7,steady=no,reduced=5'

/** Undefined where no sample is asked for; USAGE for what makes no sense. */
export function sampleAskedOf(
  { sample, sourceMended }: SampleFlags, parts: readonly PartsLine[],
): SampleAsked | undefined {
  if (sample === undefined) {
    if (sourceMended === undefined) return undefined
    throw new BenchError('USAGE', '--source-mended goes with --sample')
  }
  const fields = fieldsOf(sample, ['aql', 'level', 'source', 'seed', 'steady', 'reduced'], like)
  const reduced = fields.get('reduced')
  const parsed = sampleAsked.safeParse({
    aql: fields.get('aql'), source: fields.get('source') ?? sourceOf(parts),
    ...fields.has('level') ? { level: fields.get('level') } : {},
    ...fields.has('seed') ? { seed: fields.get('seed') } : {},
    ...fields.has('steady') ? { steady: fields.get('steady') !== 'no' } : {},
    ...reduced === undefined ? {} : { reducedLimit: Number(reduced) },
    ...sourceMended === undefined ? {} : { mended: sourceMended },
  })
  if (parsed.success) return parsed.data
  throw new BenchError('USAGE', 'the sample is not understood', {
    expected: `${like}; AQL one of ${sampleAqlsOfParts.join(' ')}, level one of ${sampleLevels.join(' ')}`,
    got: sample,
  })
}

/** Where nothing is said, lots of one kind and value are taken to come from one source. */
function sourceOf([line]: readonly PartsLine[]): string {
  return [line?.kind, line?.valueText].filter(Boolean).join(' ') || 'parts'
}
