import { describe, expect, it } from 'vitest'
import { decode, encode } from '../../src/store/codec.ts'

describe('objects as text', () => {
  it.each([NaN, Infinity, -Infinity, { a: NaN }, [{ $number: 'NaN' }], { $number: 'x' }, { $$number: 1 }, { $number: { $number: '5' } }, { $number: NaN },
    { $number: '1', b: 2 }, { $: 1 }, {}])('come back as they were: %j', value => {
    expect(decode(encode(value))).toEqual(value)
  })
})
