import type { SafeOffReport } from '../../src/schema/application.ts'
import type { SafeOffTable } from '../../src/keeper/table.ts'

export const table: SafeOffTable = {
  phases: [
    { gapMs: 0, steps: [
      { link: 'relay', step: { commands: ['OUTP:OPEN'], verify: { query: 'OUTP:STAT?', safe: [0] } } },
      { link: 'psu', step: {
        commands: ['OUTP OFF'], verify: { query: 'OUTP?', safe: [0, 'OFF'] }, afterwards: ['WATC OFF'],
      } },
    ] },
    { gapMs: 60, steps: [{ link: 'board', step: { commands: ['ROUT:REL'] } }] },
  ],
  refreshes: [{ link: 'relay', command: 'OUTP:HOLD', everyMs: 500 }],
  energising: [
    { link: 'psu', begins: 'OUTP ', but: ['OUTP OFF', 'OUTP 0'] },
    { link: 'relay', begins: 'OUTP:CLOS', but: [] },
    { link: 'board', begins: 'ROUT:CLOS (@', but: ['ROUT:CLOS (@101)'] },
  ],
}

export const report: SafeOffReport = { reason: 'test', atWallMs: 0, sentMs: 1, verifiedMs: 2, links: [] }
