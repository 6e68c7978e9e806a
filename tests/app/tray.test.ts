/** Parts on a tray with the real stack over a simulated scanner, in virtual time. */
import { describe, expect, it } from 'vitest'
import { requestFor, resistor1k, tablePart } from './screening-bench.ts'
import { openTrayTable, type TrayTable } from './tray-bench.ts'

const parts = [
  tablePart('R1', 'resistor'), tablePart('R2', 'resistor', 'wrong-value'), tablePart('R3', 'resistor', 'open'),
  tablePart('C1', 'film-capacitor'), tablePart('C2', 'electrolytic-capacitor', 'drifted'), tablePart('L1', 'inductor'),
  tablePart('D1', 'diode'), tablePart('D2', 'diode', 'leaky'), tablePart('Q1', 'npn'),
]
const resistors = (count: number) => Array.from({ length: count }, (_, i) => tablePart(`R${i + 1}`, 'resistor'))
const standard = { id: 'S1', quantity: 'resistance' as const, value: 1000, u: 0.05 }
const gradesOf = async (table: TrayTable, run: string): Promise<Record<string, string>> =>
  Object.fromEntries((await table.store.results(run)).map(({ position, grade }) => [position, grade]))
const toldOf = ({ told }: TrayTable, tone: string): string => told.filter(one => one.tone === tone).map(({ text }) => text).join('\n')
/** Proves the wiring once, so that a fault can come after it. */
async function provenTable(list: ReturnType<typeof resistors>, tray: number): Promise<TrayTable> {
  const table = await openTrayTable([...list, tablePart('R99', 'resistor')], { tray, instant: true })
  expect((await table.screen(requestFor([tablePart('R99', 'resistor')]))).state).toBe('done')
  table.told.length = 0
  table.results.length = 0
  return table
}
const tie = (table: TrayTable, kind: 'relay-welded' | 'relay-dead' | 'channels-tied' | 'channels-swapped', value: number | string): void =>
  table.sim.instrument('scan').device.faults.set({ kind, value })
/** Says these one after the other whenever channels are called unsound, then ends. */
const endWhenUnsound = (table: TrayTable): void => {
  table.onStands = ({ stands }) => { if (stands === 'out of control') table.say('end') }
}

describe('a tray', () => {
  it('is proven by wires, laid once, and measured position by position; what is by hand comes after it', async () => {
    const table = await openTrayTable(parts, { tray: 10 })
    table.parts.set('S1', resistor1k('S1'))
    table.onStands = ({ stands, tray }) => {
      if (stands !== 'in doubt') return false
      const open = tray!.slots.find(slot => slot.stands === 'in doubt' || slot.stands === 'nothing seen')!
      table.say(open.stands === 'in doubt' ? 'keep' : 'measure', open.position)
      return true
    }
    let ends = false
    table.daemon.subscribe(item => {
      if (item.type === 'screening' && item.screening && !item.screening.tray && !ends) { ends = true; table.say('end') }
    })
    const run = await table.screen(requestFor(parts, { standards: [standard] }))
    expect(run.state).toBe('done')
    // Q1 has three legs: asked for at the jig, where the session was ended.
    expect(await gradesOf(table, run.id)).toEqual({ R1: 'accept', R2: 'reject', R3: 'reject', L1: 'accept', C1: 'accept', C2: 'reject', D1: 'accept', D2: 'reject' })
    expect(table.sim.wrongs).toEqual([])
    expect(table.sim.driven).toBe(false)
    expect(toldOf(table, 'attention')).toMatch(/laying 1 of 1: 4 good; take out as bad: T07 C2, T09 D2; T04 R3: open, or not there.*T03 R2: resistance .* Is this R2/)
    const result = (await table.store.results(run.id)).find(({ position }) => position === 'R1')!
    expect(result.reason).toContain('measured on the tray at T02')
    expect(result.reason).toContain('check standards lay at T01, not here')
    expect((await table.store.events(run.id)).filter(({ kind }) => kind === 'standard')).toHaveLength(2)
  }, 60_000)

  it('is planned: what lies where, how few times hands are needed, and what is put in by hand and why', async () => {
    const table = await openTrayTable(parts, { tray: 6, instant: true })
    const low = { ...tablePart('R7', 'resistor'), line: 'resistor,R47,1,,' }
    const { tray, groups, mostV } = await table.daemon.screening.plan(requestFor([...parts, ...resistors(8).slice(3, 6), low], { standards: [standard] }))
    expect(tray!.layings.map(({ slots }) => slots.filter(({ what }) => what === 'part').length)).toEqual([5, 4, 2])
    expect(tray!.layings.map(({ slots }) => slots.find(({ what }) => what === 'standard')!.position)).toEqual(['T01', 'T02', 'T03'])
    expect(tray!.byHand).toMatchObject([{ id: 'Q1', why: 'a position of the tray takes two legs' }, { id: 'R7' }])
    expect(tray!.byHand[1]!.why).toMatch(/the scanner leaves .* of its resistance open/)
    expect(tray!.wires).toHaveLength(3)
    expect(tray!.handlings).toEqual({ byHand: 11, layings: 3 })
    expect(tray!.handsS).toBeLessThan(tray!.oneByOneS)
    expect(groups.filter(({ onTray }) => !onTray).flatMap(one => one.parts)).toEqual(['R7', 'Q1'])
    expect(mostV).toBeLessThanOrEqual(30)
    const byHand = await table.daemon.screening.plan(requestFor(parts, { byHand: true }))
    expect(byHand.tray).toBeUndefined()
  })

  it('goes on where it was: what has its result stays where it lies, and nothing is cleared first', async () => {
    const list = resistors(6)
    const table = await provenTable(list, 6)
    let stopped = false
    table.daemon.subscribe(item => {
      if (item.type === 'result' && table.results.length === 3 && !stopped) { stopped = true; void table.daemon.stop('lunch') }
    })
    const first = await table.screen(requestFor(list))
    expect(first.state).toBe('stopped')
    const done = Object.keys(await gradesOf(table, first.id))
    await table.clock.run(table.daemon.acknowledge('back from lunch', 'Ida'))
    table.told.length = 0
    // The person leaves everything where it is.
    table.onStands = ({ stands }) => { if (stands === 'laying') { table.say('laid'); return true } return false }
    const run = await table.screen(requestFor(list))
    expect(run.state).toBe('done')
    expect(table.told[0]!.text).toMatch(/^lay T0/)
    const grades = await gradesOf(table, run.id)
    expect(Object.keys(grades).sort()).toEqual(list.map(({ id }) => id).filter(id => !done.includes(id)))
    expect(Object.values(grades).every(grade => grade === 'accept')).toBe(true)
  }, 60_000)
})

describe('a channel that is not sound', () => {
  it('is found where it stays closed, before a grade is given, and none is given afterwards', async () => {
    const list = resistors(5)
    const table = await provenTable(list, 6)
    table.onStands = ({ stands, tray }) => {
      // It welds once the tray was seen empty.
      if (stands === 'laying' && tray!.stage === 'parts') tie(table, 'relay-welded', 3)
      if (stands === 'out of control') table.say('end')
    }
    const run = await table.screen(requestFor(list))
    expect(table.results).toEqual([])
    expect(toldOf(table, 'attention')).toContain('a channel stays closed')
    expect(await table.store.results(run.id)).toEqual([])
  })

  it('is found where it welds in the middle: what was measured then is withheld, and all after it', async () => {
    const list = resistors(5)
    const table = await provenTable(list, 6)
    let welded = false
    table.daemon.subscribe(item => {
      if (item.type === 'result' && item.result.position === 'R2' && !welded) { welded = true; tie(table, 'relay-welded', 3) }
    })
    endWhenUnsound(table)
    const run = await table.screen(requestFor(list))
    expect(Object.keys(await gradesOf(table, run.id))).toEqual(['R1', 'R2'])
    expect(toldOf(table, 'attention')).toContain('a channel stays closed')
  })

  it.each([
    ['does not close', 'relay-dead', 4, /T04 adds .*: its channel does not close/],
    ['stays closed', 'relay-welded', 4, /T04 adds .* closed all the time/],
    ['closes another with it', 'channels-tied', '4:5', /T04 adds .*: another channel closes with it/],
  ] as const)('is found on the empty tray where it %s: no part is asked for', async (_how, kind, value, says) => {
    const table = await openTrayTable(resistors(3), { tray: 6, instant: true })
    tie(table, kind, value)
    table.onStands = ({ stands }) => {
      if (stands === 'clearing') { table.say('measure'); return true }
      if (stands === 'out of control') table.say('end')
      return true
    }
    await table.screen(requestFor(resistors(3)))
    expect(toldOf(table, 'attention')).toMatch(says)
    expect(toldOf(table, 'ask')).not.toContain('lay ')
    expect(table.results).toEqual([])
  })

  it('takes back what was graded since it was last seen to be sound', async () => {
    const list = resistors(3)
    const table = await provenTable(list, 6)
    let tied = false
    table.onStands = ({ stands, tray }) => {
      if (stands === 'measuring' && !tied) { tied = true; tie(table, 'channels-tied', '2:6') }
      if (stands === 'clearing' && tray!.slots.length > 0) {
        table.clock.after(1000, () => { table.sim.tray!.clear(); table.say('measure') })
        return true
      }
      if (stands === 'out of control') { table.say('end'); return true }
      return false
    }
    const run = await table.screen(requestFor(list))
    expect(await gradesOf(table, run.id)).toEqual({ R1: 'cannot tell', R2: 'cannot tell', R3: 'cannot tell' })
  })

  it('is found by the wires where it leads elsewhere than the bench file says', async () => {
    const table = await openTrayTable(resistors(3), { tray: 6, instant: true })
    tie(table, 'channels-swapped', '1:2')
    let asked = 0
    table.onStands = ({ stands, tray }) => { if (stands === 'laying' && tray!.stage === 'wires' && asked++ > 0) table.say('end') }
    table.clock.after(300_000, () => { if (table.daemon.screening.status()) table.daemon.screening.do('end') })
    await table.screen(requestFor(resistors(3)))
    expect(toldOf(table, 'attention')).toMatch(/no wire is seen at T01; one is at T02, where none belongs/)
    expect(table.results).toEqual([])
  })
})

describe('what lies on a position', () => {
  it('is told by its position: nothing, another value, a poor contact; two that were exchanged are named together', async () => {
    const list = [...resistors(4), { ...tablePart('R5', 'resistor'), line: 'resistor,22k,5,,' }]
    const table = await provenTable(list, 6)
    table.instead.set('T02', null)
    table.instead.set('T04', resistor1k('x', 22_000))
    table.instead.set('T05', resistor1k('y', 4700))
    const run = await table.screen(requestFor(list))
    const says = toldOf(table, 'attention')
    expect(says).toContain('T02 R2: open, or not there')
    expect(says).toMatch(/T04 R4: .*, or do it and T05 R5 lie in each other's place/)
    expect(await gradesOf(table, run.id)).toEqual({ R1: 'accept', R3: 'accept' })
  })

  it('is measured anew at one position alone, and the result before is taken back', async () => {
    const list = resistors(3)
    const table = await provenTable(list, 6)
    let again = false
    table.onStands = ({ stands, tray }) => {
      if (stands !== 'clearing' || tray!.slots.length === 0 || again) return false
      again = true
      table.say('again', 'T02')
      return true
    }
    await table.screen(requestFor(list))
    expect(table.results.map(({ position, grade }) => `${position} ${grade}`))
      .toEqual(['R1 accept', 'R2 accept', 'R3 accept', 'R2 cannot tell', 'R2 accept'])
  })
})
