/** What a bench file must say of a tray, and what its scanner must bear. */
import { describe, expect, it } from 'vitest'
import { JigBench } from '../../mocks/bench/jig-bench.ts'
import { checkBench, ProfileFolder } from '../../src/app/files.ts'
import { VirtualClock } from '../../src/base/clock.ts'
import { hasCode, type BenchError } from '../../src/base/errors.ts'
import { benchFile, type BenchFile } from '../../src/schema/bench.ts'
import { virtualJig } from '../../nights/virtual-jig.ts'
import { ScannedTray } from '../../src/engine/tray.ts'
import { residualsOf } from '../../src/screening/residuals.ts'
import { wirePatterns } from '../../src/screening/tray-layings.ts'

const fileOf = (): BenchFile => benchFile.parse(new JigBench({ clock: new VirtualClock(), seed: 1, tray: 6 }).benchFile())
function problems(change: (file: BenchFile) => void): string[] {
  const file = fileOf()
  change(file)
  try {
    checkBench(file, 'bench.yaml', new ProfileFolder(null))
    return []
  } catch (error) {
    expect(hasCode(error, 'FILE_INVALID')).toBe(true)
    return [(error as BenchError).message]
  }
}

describe('the tray of a bench file', () => {
  it('is taken with a scanner that has a path, a bridge, and each channel once', () => {
    expect(problems(() => {})).toEqual([])
  })
  it.each([
    ['no scanner', (file: BenchFile) => { delete file.roles.scanner }, 'roles.scanner'],
    ['a scanner whose profile says nothing of its path', (file: BenchFile) => { file.instruments['scan']!.profile = 'scanner-a' }, 'path'],
    ['a channel twice', (file: BenchFile) => { file.jig!.tray!.positions[1]!.channel = 1 }, 'channel 1'],
    ['a channel that there is not', (file: BenchFile) => { file.jig!.tray!.positions[1]!.channel = 77 }, '1 to 40'],
    ['a relay of a lead', (file: BenchFile) => { file.jig!.tray!.join[0] = 1 }, 'relay 1'],
    ['no bridge', (file: BenchFile) => { delete file.roles.bridge; delete file.jig!.leads!.bridge }, 'roles.bridge'],
  ] as const)('is refused with %s', (_what, change, says) => {
    expect(problems(change).join()).toContain(says)
  })
})

describe('a scanned tray', () => {
  it('refuses volts and current that the scanner does not bear, and gives nothing to the part then', async () => {
    const { sim, composed: { roles }, clock } = await virtualJig({ tray: 6, instant: true })
    const jig = benchFile.parse(sim.benchFile()).jig!
    const scanner = roles.scanner!
    const weak = { ...scanner.path!, voltageMaxV: 12, carryA: 0.005 }
    Object.defineProperty(scanner, 'path', { value: weak })
    const tray = new ScannedTray({
      roles, spec: { ...jig, tray: jig.tray! }, clock, signal: new AbortController().signal, residuals: residualsOf(null),
    })
    expect(tray.reach.source).toMatchObject({ voltageMaxV: 12, currentMaxA: 0.005 })
    const at = await clock.run(tray.close('T01'))
    const ends = { high: 1, low: 2 } as const
    await expect(clock.run(at.force(ends, { voltageV: 13, limitA: 1e-3 }))).rejects.toThrow('volts at the jig')
    await expect(clock.run(at.force(ends, { voltageV: 5, limitA: 0.006 }))).rejects.toThrow('current at the jig')
    expect(sim.most).toEqual({ volts: 0, amps: 0 })
    expect(sim.driven).toBe(false)
  })
})

describe('wires in patterns', () => {
  it.each([4, 7, 8, 20, 96])('tell %i positions from each other, and each has a wire', count => {
    const positions = Array.from({ length: count }, (_, i) => `T${i + 1}`)
    const patterns = wirePatterns(positions)
    const codes = positions.map(position => patterns.map(pattern => pattern.includes(position) ? 1 : 0).join(''))
    expect(new Set(codes).size).toBe(count)
    expect(codes.every(code => code.includes('1'))).toBe(true)
  })
})
