/**
 * The channels of one run: the bus first, then current and case temperature of each
 * position, then what is read for comparison.
 */
import type { FixtureSpec } from '../schema/bench.ts'
import type { Channel } from '../schema/reading.ts'

export interface ChannelTable {
  readonly all: readonly Channel[]
  readonly busVoltage: Channel
  readonly supplyCurrent: Channel
  /** What the supply reads at its own terminals. */
  readonly supplyVoltage: Channel
  /** By position index of the fixture. */
  readonly current: readonly Channel[]
  readonly caseTemperature: readonly (Channel | undefined)[]
}

export function channelTable(fixture: FixtureSpec): ChannelTable {
  const all: Channel[] = []
  const add = (channel: Omit<Channel, 'index'>): Channel => {
    const made = { index: all.length, ...channel }
    all.push(made)
    return made
  }
  const busVoltage = add({ name: 'bus.voltage', quantity: 'voltage', unit: 'V' })
  const supplyCurrent = add({ name: 'supply.current', quantity: 'current', unit: 'A' })
  const current = fixture.positions.map(({ name }) =>
    add({ name: `${name}.current`, quantity: 'current', unit: 'A', position: name }))
  const caseTemperature =
    fixture.positions.map(({ name, thermometer }) => thermometer === undefined ? undefined
    : add({ name: `${name}.case`, quantity: 'temperature', unit: '°C', position: name }))
  const supplyVoltage = add({ name: 'supply.voltage', quantity: 'voltage', unit: 'V' })
  return { all, busVoltage, supplyCurrent, supplyVoltage, current, caseTemperature }
}
