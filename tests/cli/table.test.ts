import { PassThrough } from 'node:stream'
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { pour, Screen } from '../../src/cli/screen.ts'
import { formatClock, formatMinute } from '../../src/base/format.ts'
import { positionTable, statusLines } from '../../src/cli/status-text.ts'
import { printable, renderTable } from '../../src/cli/table.ts'
import { askingR1, idleStatus, runningStatus } from '../api/fake-application.ts'
import { startWallMs } from '../report/sample-night.ts'

const running = runningStatus('R1')
const position = running.run!.positions[0]!

describe('the table of a run', () => {
  it('says of a grade that it is provisional', () => {
    const rows = positionTable([true, false].map(provisional =>
      ({ ...position, grade: 'accept' as const, disposition: 'use' as const, provisional })))
    expect(rows[1]).toMatch(/accept \(provisional\), use/)
    expect(rows[2]).toMatch(/accept, use/)
  })

  it('shows stage, volts, leakage against its limit and verdict of each position', () => {
    const [heading, row] = positionTable([position])
    expect(heading).toMatch(/position +part +stage +volts +leakage +limit +of limit +case +ends +verdict/)
    expect(row).toMatch(/P01 +C1 +forming +180 V +210 µA +1\.10 mA +19 % +24\.3 °C +–$/)
  })

  it('shows a dash where there is no number, and no share of a limit that is none', () => {
    const [, row] = positionTable([{ ...position, volts: null, leakageA: null, caseC: null, limitA: 0 }])
    expect(row).toMatch(/forming +– +– +0 A +– +– +–$/)
  })

  it('compares no current with the limit once a part is dropped, and shows noise below zero as nothing', () => {
    const [, dropped, noisy] = positionTable([
      { ...position, stage: 'dropped', leakageA: -3e-9 }, { ...position, leakageA: -3e-9 },
    ])
    expect(dropped).toMatch(/-3\.00 nA +1\.10 mA +– /)
    expect(noisy).toMatch(/-3\.00 nA +1\.10 mA +0\.0 %/)
  })

  it('says how long it takes yet, when it ends, and what may not be touched, once for all it is true of', () => {
    const two = {
      ...running, run: { ...running.run!, positions: [position, { ...position, position: 'P02' }] }
    }
    const text = statusLines(two).join('\n')
    expect(text).toContain(`about 5 h 33 min to go, ending about ${formatMinute(startWallMs + 20_000_000)}`)
    expect(text.match(/NOT SAFE TO TOUCH/g)).toHaveLength(1)
    expect(text).toContain('all positions: NOT SAFE TO TOUCH')
  })

  it('says of a run that ends why and since when, and no time to go', () => {
    const ending = { as: 'tripped' as const, why: 'the cover is open', wallMs: startWallMs }
    const status = { ...running, energy: 'bleeding' as const, run: { ...running.run!, remainingS: null, ending } }
    const text = statusLines(status).join('\n')
    expect(text).toContain('bleeding, not yet safe to touch')
    expect(text).toContain(`TRIPPED at ${formatClock(startWallMs)}: the cover is open. `
      + 'What was on the bus is being bled and measured')
    expect(text).not.toMatch(/to go|ending about/)
  })

  it('says that a trip is latched and that the keeper is gone, and nothing of it otherwise', () => {
    const latched = { ...idleStatus, latched: { text: 'over-current', wallMs: 0 }, keeper: 'gone' as const }
    expect(statusLines(latched).join('\n')).toContain(
      `LATCHED ${formatClock(0)}: over-current\nNothing starts until somebody at the bench acknowledges: nightbench ack REASON\nTHE KEEPER IS GONE`
    )
    expect(statusLines(idleStatus)).toEqual(['pavilion: nothing runs; energy off'])
  })

  it('says that an acknowledgement is asked for where the keeper was told to stop while nothing ran', () => {
    expect(statusLines({ ...idleStatus, keeper: 'safe' })).toEqual([
      'pavilion: nothing runs; energy off', 'Nothing starts until somebody at the bench acknowledges: nightbench ack REASON',
    ])
  })

  it('names the session at the jig, how it stands, and the way back to it', () => {
    const measuring = { ...askingR1, stands: 'measuring' as const, paused: true }
    expect(statusLines({ ...idleStatus, energy: 'live', screening: measuring })).toEqual([
      'pavilion: screening session S1; sources may be on, keep hands off while it measures',
      '  R1: measuring; then paused | none through, 2 left', 'Back to it: nightbench watch',
    ])
    expect(statusLines({ ...idleStatus, screening: { ...askingR1, paused: true } })[1]).toContain('R1: paused; resume |')
  })

  it('says what a crash left on the bus, and what may be touched of it', () => {
    const positions = [{ position: 'P01', part: 'C1', touch: 'NOT SAFE TO TOUCH: UNMEASURED' }]
    const left = { run: 'R1', measuring: true, positions }
    expect(statusLines({ ...idleStatus, energy: 'bleeding', left })).toEqual([
      'pavilion: nothing runs; bleeding, not yet safe to touch',
      'Left on the bus by run R1, which was interrupted; being bled and measured:',
      '  P01  C1  NOT SAFE TO TOUCH: UNMEASURED',
    ])
  })

  it('keeps columns under their headings, and every line within the width', () => {
    fc.assert(fc.property(
      fc.array(fc.array(fc.string({ unit: 'binary', maxLength: 30 }), { maxLength: 3 }), { maxLength: 6 }),
      fc.integer({ min: 1, max: 60 }), (rows, width) => {
        const columns = [{ heading: 'one' }, { heading: 'two', right: true }, { heading: 'three' }]
        const lines = renderTable(columns, rows, width)
        expect(lines).toHaveLength(rows.length + 1)
        expect(
          lines.every(line => line.length <= width && !/[\u0000-\u001f\u007f-\u009f]/.test(line))
        ).toBe(true)
      }))
  })

  it('lets no text move the cursor of a terminal', () => {
    expect(printable('A\u001b[2Jb\r\nc\u009b1m')).toBe('A [2Jb c 1m')
  })
})

describe('the screen', () => {
  const make = (isTTY: boolean) => {
    const written: string[] = []
    const out = { write: (text: string) => written.push(text), isTTY, columns: 30, rows: 5 }
    return { written, screen: new Screen(out) }
  }

  it('redraws its block in place and keeps lines above it', () => {
    const { written, screen } = make(true)
    screen.block(['a', 'b'])
    screen.line('kept')
    screen.block(['c'])
    expect(written).toEqual(['a\nb\n', '\u001b[2A\u001b[J', 'kept\n', 'a\nb\n', '\u001b[2A\u001b[J', 'c\n'])
  })

  it('is never taller or wider than the terminal, or the cursor would not come back', () => {
    const { written, screen } = make(true)
    screen.block(Array.from({ length: 9 }, () => 'x'.repeat(99)))
    const lines = written[0]!.trimEnd().split('\n')
    expect(lines).toHaveLength(4)
    expect(lines[3]).toBe('… and 6 more')
    expect(Math.max(...lines.map(line => line.length))).toBe(30)
  })

  it('writes no block and no control sequence into a pipe', () => {
    const { written, screen } = make(false)
    screen.block(['a'])
    screen.line('kept')
    screen.block(['b'])
    expect(written).toEqual(['kept\n'])
  })
})

describe('a long answer', () => {
  it('waits for a reader that is slower', async () => {
    const stream = new PassThrough({ highWaterMark: 10 })
    let made = 0
    async function* pieces(): AsyncGenerator<string> { for (; made < 50; made++) yield 'x'.repeat(100) }
    const poured = pour(stream, pieces())
    await new Promise(setImmediate)
    expect(made).toBeLessThan(5)
    let read = ''
    stream.on('data', chunk => { read += String(chunk) })
    await poured
    expect(read).toHaveLength(5000)
  })
})
