import { existsSync, readFileSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { ProfileFolder } from '../../src/app/files.ts'
import { readRackList } from '../../src/cli/rack-list.ts'
import type { PartResult, RunRecord } from '../../src/schema/run.ts'
import { openCli, type Cli } from './fake-cli.ts'

let cli: Cli
beforeEach(async () => { cli = await openCli() })
afterEach(async () => { await cli.close() })

const list = 'designator,kind,value,tolerance,dielectric,rating\n'
  + 'C1,capacitor,47u,20,electrolytic,450V\n"R1,R2",resistor,4k7,5,,\n'
const policy = `policy: house
rules:
  - { name: no-r2, match: { designators: R2 }, action: leave, reason: it was never fitted }
otherwise: { action: prove, reason: nothing is trusted }
`
const run: RunRecord = {
  id: 'S9', sequence: 'screen', bench: 'pavilion', state: 'running', startedWallMs: 1, endedWallMs: null, person: 'Ida',
  use: 'touch-safe', software: '0', setup: {},
}
const result = (position: string, over: Partial<PartResult>): PartResult => ({
  position, part: `pavilion-${position}`, profile: 'parts list', grade: 'accept', provisional: false, disposition: 'use',
  pConform: 1, reason: 'within every limit', criteria: [], figures: {}, ...over,
})

function file(name: string, text: string): string {
  const path = join(cli.folder, name)
  writeFileSync(path, text)
  return path
}

describe('the command `unit`', () => {
  it('shows what stands, what is open first, and ends with 1 until nothing is missing', async () => {
    const path = file('pavilion.csv', list)
    const before = await cli.run('unit', path)
    expect(before.exit).toBe(1)
    expect(before.out).toContain('pavilion: 3 parts, 3 not measured.')
    await cli.app.store.createRun(run, [])
    await cli.app.store.saveResult('S9', result('R1', {}))
    await cli.app.store.saveResult('S9', result('C1', { grade: 'cannot tell', disposition: 'form', reason: 'leaks, as stale oxide does' }))
    const { out, exit } = await cli.run('unit', path, '--policy', file('house.yaml', policy))
    expect(exit).toBe(1)
    expect(out).toContain('1 proven, 1 to form, 1 left as it is')
    expect(out.indexOf('C1 ')).toBeLessThan(out.indexOf('R1 '))
    expect(out).toMatch(/R2 .*left as it is.*it was never fitted/)
    await cli.app.store.saveResult('S9', result('C1', {}))
    const after = await cli.run('unit', path, '--policy', join(cli.folder, 'house.yaml'))
    expect(after).toMatchObject({ exit: 0 })
    expect(after.out).toContain('Nothing is missing.')
  })

  it('estimates life inside the unit where a profile asks for it, and says what it is made of', async () => {
    const path = file('pavilion.csv', list)
    const profile = new ProfileFolder(null).part('al-450v-47u-general').profile
    await cli.app.store.createRun({ ...run, id: 'F1', sequence: 'reform', setup: {
      plan: { targetV: 450 }, parts: [{ name: profile.name, hash: 'ab', profile }],
      request: { parts: [{ position: 'P01', part: 'pavilion-C1', profile: profile.name }] },
    } }, [])
    await cli.app.store.saveResult('F1', { ...result('C1', {}), position: 'P01' })
    const csv = join(cli.folder, 'unit.csv')
    const { out } = await cli.run('unit', path, '--inside-c', '45', '-o', csv)
    expect(out).toMatch(/^ {2}C1 at 45 °C and 450 V: a new one may last about 32,000 h \(3\.7 years\), from /m)
    expect(out).toContain('used up already is not known')
    expect(readFileSync(csv, 'utf8')).toContain('rule of thumb')
    expect((await cli.run('unit', path)).out).not.toContain('may last')
    expect((await cli.run('unit', path, '--inside-c', 'warm')).exit).toBe(2)
  })

  it('writes its page, and says what no rack list can hold', async () => {
    const path = file('pavilion.csv', list)
    await cli.app.store.createRun(run, [])
    await cli.app.store.saveResult('S9', result('C1', { grade: 'cannot tell', disposition: 'form' }))
    const [html, csv, rack] = ['unit.html', 'unit.csv', 'rack.csv'].map(name => join(cli.folder, name)) as [string, string, string]
    expect((await cli.run('unit', path, '-o', html)).out).toContain(`Wrote ${html}`)
    expect(readFileSync(html, 'utf8')).toContain('<h1>Parts of pavilion</h1>')
    await cli.run('unit', path, '-o', csv)
    expect(readFileSync(csv, 'utf8').split('\r\n')[1]).toMatch(/^C1,capacitor 47u 450 V,to form,"S9 \(screen\)/)
    const asked = await cli.run('unit', path, '--rack', rack)
    expect(asked.out).toContain('C1 is not on it: no profile')
    expect(existsSync(rack)).toBe(false)
    cli.app.units.rack = () => ({ ratedV: 450, left: [], parts: [{ position: 'P01', part: 'C1', profile: 'can', ratedV: 450, capacitanceF: 47e-6 }] })
    expect((await cli.run('unit', path, '--rack', rack)).out).toContain('1 part of 450 V. Look at each and put its condition for the ?')
    expect(() => readRackList(rack)).toThrow(/2:6 condition|condition: expected one of "sound"/)
    writeFileSync(rack, readFileSync(rack, 'utf8').replace('?', 'sound'))
    expect(readRackList(rack).parts).toMatchObject([{ position: 'P01', condition: 'sound' }])
    expect(readRackList(rack).parts[0]).not.toHaveProperty('serviceC')
    await cli.run('unit', path, '--rack', rack, '--inside-c', '45')
    writeFileSync(rack, readFileSync(rack, 'utf8').replace('?', 'sound'))
    expect(readRackList(rack).parts).toMatchObject([{ position: 'P01', serviceC: 45 }])
    expect((await cli.run('unit', path, '--rack', 'rack.txt')).exit).toBe(2)
    expect((await cli.run('unit', path, '-o', 'unit.docx')).exit).toBe(2)
  })

  it('tells a list that cannot be read by line, and asks nothing', async () => {
    const { exit, err } = await cli.run('unit', file('bad.csv', 'designator,kind,value\nR1,resistor,4kk7\n'))
    expect(exit).toBe(2)
    expect(err).toMatch(/bad\.csv/)
  })
})
