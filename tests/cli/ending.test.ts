/** Goal: whatever ends the daemon ends it once, also an error on the way out or in the log. */
import { EventEmitter } from 'node:events'
import { describe, expect, it } from 'vitest'
import { whenEnding } from '../../src/cli/ending.ts'

describe('what ends the daemon', () => {
  it.each(['SIGINT', 'SIGTERM'])('is told by its name where it is %s', async name => {
    const from = new EventEmitter()
    const ending = whenEnding(from as NodeJS.Process, { error: () => {} })
    from.emit(name)
    expect(await ending).toEqual({ why: name, error: null })
  })

  it('is the first error alone, those that come of telling it begin nothing, and only some are told', async () => {
    const from = new EventEmitter()
    let told = 0
    const log = { error: () => { told++; throw new Error('ENOSPC: no space left on device, write') } }
    const ending = whenEnding(from as NodeJS.Process, log)
    const first = new Error('the first')
    from.emit('uncaughtException', first)
    for (let i = 0; i < 1000; i++) from.emit('uncaughtException', new Error('ENOSPC: no space left on device, write'))
    expect(await ending).toEqual({ why: 'an error that nobody caught (Error: the first)', error: first })
    expect(told).toBe(10)
  })

  it('is an error also where nothing was thrown, or what has no words', async () => {
    for (const thrown of [undefined, null, Object.create(null) as unknown]) {
      const from = new EventEmitter()
      const ending = whenEnding(from as NodeJS.Process, { error: () => {} })
      from.emit('unhandledRejection', thrown)
      expect((await ending).error).not.toBeNull()
    }
  })
})
