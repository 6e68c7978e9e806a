/** How numbers and lists are written into commands: plain base units, no suffix, no exponent. */
import { assert } from '../base/assert.ts'
import { formatChannelList } from '../scpi/lists.ts'
import type { Placeholder } from '../schema/profile-parts.ts'

/** `template` with every placeholder of `values` filled in. */
export function fill(template: string, values: Partial<Record<Placeholder, string>>): string {
  let text = template
  for (const [name, value] of Object.entries(values)) text = text.replace(`{${name}}`, value)
  assert(!text.includes('{'), `placeholder left in \`${text}\``)
  return text
}

/** What every line made from `template` begins with. */
export const beginningOf = (template: string): string => template.split('{', 1)[0]!

export interface Step {
  /**
   * The largest multiple of the step that is not above `value`; a limit sent is never above the one asked
   * for.
   */
  floor(value: number): number
  /** `value` with as many decimals as the step has. */
  text(value: number): string
}

/** A grid of settings `size` apart. */
export function stepOf(size: number): Step {
  let decimals = 0
  const isWhole = (scaled: number): boolean => scaled > 0.5 && Math.abs(scaled - Math.round(scaled)) <= 1e-6
  while (decimals < 12 && !isWhole(size * 10 ** decimals)) decimals++
  // A millionth of a step forgives 449.99999999999994; it is far below what an instrument resolves.
  const floor = (value: number): number => Number((Math.floor(value / size + 1e-6) * size).toFixed(decimals))
  return { floor, text: value => value.toFixed(decimals) }
}

/** `1,3:5` for [1, 3, 4, 5]: what stands between `(@` and `)`; the template says what is around it. */
export function channelList(channels: readonly number[]): string {
  return formatChannelList(channels).slice(2, -1)
}

/** Cuts `channels` into groups of at most `count` whose command stays within `bytesMax`. */
export function groupsOf(
  channels: readonly number[], count: number, template: string, bytesMax: number
): number[][] {
  const groups: number[][] = []
  for (const channel of channels) {
    const last = groups.at(-1)
    const grown = last && [...last, channel]
    const bytes = grown ? fill(template, { list: channelList(grown) }).length : 0
    if (grown && grown.length <= count && bytes < bytesMax) last.push(channel)
    else groups.push([channel])
  }
  return groups
}
