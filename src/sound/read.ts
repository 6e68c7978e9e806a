/** A recording from a file of any of the kinds that are read. */
import { readFileSync, statSync } from 'node:fs'
import { BenchError } from '../base/errors.ts'
import { fileFault } from '../base/file-fault.ts'
import { samplesOf, type Recording, type Stretch } from './recording.ts'
import { readTable } from './table.ts'
import { isWave, readWave } from './wav.ts'

/** Longer files are no single measurement. */
const bytesMost = 512 * 1024 * 1024
const meant = 'a recording: WAVE, or a table of volts'

/** FILE_UNREADABLE, FILE_INVALID; USAGE for a table without times where no rate is told. */
export function readRecording(file: string, stretch: Stretch, rateHz?: number): Recording {
  const bytes = bytesOf(file)
  if (isWave(bytes)) return readWave(bytes, file, stretch)
  if (bytes.subarray(0, 4096).includes(0)) {
    throw new BenchError('FILE_INVALID', 'this is no recording that can be read', {
      file, expected: meant, got: 'other bytes',
    })
  }
  return cut(readTable(new TextDecoder().decode(bytes), file, rateHz), stretch, file)
}

function bytesOf(file: string): Uint8Array {
  try {
    const { size } = statSync(file)
    if (size > bytesMost) throw new Error(`${size} bytes, and at most ${bytesMost} are read`)
    return readFileSync(file)
  } catch (error) {
    throw fileFault(file, 'cannot be read', meant, error)
  }
}

function cut(recording: Recording, stretch: Stretch, file: string): Recording {
  try {
    const [first, count] = samplesOf(stretch, recording.channels[0]!.length, recording.sampleHz)
    const channels = recording.channels.map(samples => samples.subarray(first, first + count))
    return { ...recording, channels }
  } catch (error) {
    throw new BenchError('USAGE', (error as Error).message, { file })
  }
}
