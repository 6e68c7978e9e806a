import { describe, expect, it } from 'vitest'
import { closeAll } from '../../src/base/close-all.ts'

describe('closing', () => {
  it('takes every step in order, whatever fails, and then tells the first failure', async () => {
    const taken: number[] = []
    const step = (n: number, fails = false) => async (): Promise<void> => {
      await Promise.resolve()
      taken.push(n)
      if (fails) throw new Error(`step ${n}`)
    }
    await expect(closeAll([step(1), step(2, true), () => { throw new Error('step 3') }, step(4)])).rejects.toThrow('step 2')
    expect(taken).toEqual([1, 2, 4])
  })

  it('resolves where nothing fails', async () => {
    await expect(closeAll([() => {}, async () => {}])).resolves.toBeUndefined()
  })
})
