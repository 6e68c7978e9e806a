import { describe, expect, it } from 'vitest'
import { compileTable, energisingPart, mayFollow, tableCommands } from '../../src/keeper/table.ts'
import type { Cutoff, RelayBoard, Roles, Source, Supply } from '../../src/schema/roles.ts'

const cutoff = { name: 'relay', holdMs: 2000, settleMs: 60, refreshCommand: 'OUTP:HOLD',
  safeOff: { commands: ['OUTP:OPEN'] }, energising: [{ begins: 'OUTP:CLOS', but: [] }] } as unknown as Cutoff
const supply = { name: 'psu', safeOff: { commands: ['VOLT 0', 'OUTP OFF'] },
  energising: [{ begins: 'OUTP ', but: ['OUTP OFF'] }] } as unknown as Supply
const board = { name: 'board', safeOff: { commands: ['ROUT:REL'] },
  energising: [{ begins: 'ROUT:CLOS (@', but: [] }] } as unknown as RelayBoard
const roles: Roles = { cutoff, supply, positions: board, bleed: board }

describe('the safe-off table', () => {
  it('opens the cutoff before the supply goes off, and releases relays once the cutoff has settled', () => {
    const table = compileTable(roles)
    expect(table.phases.map(phase => [phase.gapMs, phase.steps.map(step => step.link)]))
      .toEqual([[0, ['relay', 'psu']], [60, ['board']]])
  })

  it('turns sources off with the supply, each on its own link, and knows what switches them on', () => {
    const source = (name: string) => ({ name, safeOff: { commands: [`${name} OFF`] },
      energising: [{ begins: `${name} `, but: [`${name} OFF`] }] }) as unknown as Source
    const table = compileTable({ supply, source: source('one'), 'second-source': source('two') })
    expect(table.phases.map(phase => phase.steps.map(step => step.link))).toEqual([['psu', 'one', 'two']])
    expect(energisingPart(table, 'two', 'two ON')).toBe('two ON')
    expect(energisingPart(table, 'two', 'two OFF')).toBeNull()
  })

  it('refreshes several times within the hold time', () => {
    expect(compileTable(roles).refreshes).toEqual([{ link: 'relay', command: 'OUTP:HOLD', everyMs: 500 }])
  })

  it('refreshes nothing where the cutoff has no hold-in timer, or where there is none', () => {
    expect(compileTable({ cutoff: { ...cutoff, holdMs: 0 } }).refreshes).toEqual([])
    expect(compileTable({ supply })).toEqual(
      { phases: [{ gapMs: 0, steps: [{ link: 'psu', step: supply.safeOff }] }], refreshes: [],
        energising: [{ link: 'psu', begins: 'OUTP ', but: ['OUTP OFF'] }] })
  })

  it('lists what puts energy on, save for relays that lead none to a part', () => {
    const lamp = { ...board, energising: [] } as unknown as RelayBoard
    const table = compileTable({ ...roles, bleed: lamp }, undefined, ['ROUT:CLOS (@101)'])
    expect(table.energising).toEqual([
      { link: 'psu', begins: 'OUTP ', but: ['OUTP OFF'] },
      { link: 'relay', begins: 'OUTP:CLOS', but: [] },
      { link: 'board', begins: 'ROUT:CLOS (@', but: ['ROUT:CLOS (@101)'] },
    ])
  })

  it('keeps both steps where two instruments with different commands share a link', () => {
    const bleed = { ...board, name: 'bleed', safeOff: { commands: ['BLE:ON'] } } as unknown as RelayBoard
    const table = compileTable({ ...roles, bleed }, name => name === 'bleed' ? 'board' : name)
    expect(tableCommands(table).get('board')).toEqual(new Set(['ROUT:REL', 'BLE:ON']))
  })

  it('knows the lines that may follow a safe-off, of that link alone, and none that energises', () => {
    const watched = { ...supply, safeOff: { ...supply.safeOff, afterwards: ['WATC OFF', 'OUTP ON'] } } as unknown as Supply
    const table = compileTable({ ...roles, supply: watched })
    expect(mayFollow(table, 'psu', 'WATC OFF')).toBe(true)
    expect(mayFollow(table, 'board', 'WATC OFF')).toBe(false)
    expect(mayFollow(table, 'psu', 'WATC ON')).toBe(false)
    expect(mayFollow(table, 'psu', 'OUTP ON')).toBe(false)
    expect(tableCommands(table).get('psu')!.has('WATC OFF')).toBe(false)
  })

  it('refuses an instrument that has no command to make it safe', () => {
    const mute = { ...supply, safeOff: { commands: [] } } as unknown as Supply
    expect(() => compileTable({ supply: mute })).toThrow('psu has no command')
  })
})
