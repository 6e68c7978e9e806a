import { describe, expect, it } from 'vitest'
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { checkHost, type HostFinding, type HostQuestion } from '../../src/app/host-check.ts'
import { thisHost, type HostView } from '../../src/app/host-view.ts'
import { localHost } from '../../src/app/local-host.ts'
import { packageFile } from '../../src/base/paths.ts'

const question: HostQuestion = { dataFolder: '/data', devices: new Map([['psu', '/dev/ttyUSB0'], ['meter', '/dev/usbtmc0']]) }
const unitSays = 'LoadState=loaded\nUnitFileState=enabled\nType=notify\nNotifyAccess=all\nWatchdogUSec=30s\nWatchdogSignal=15\nKillMode=control-group'

/** A host on which all is well, but for what the test says. */
function hostWith(changes: Partial<HostView> = {}, says: Readonly<Record<string, string | null>> = {}): HostView {
  return {
    nodeVersion: '20.11.0', user: 'ida', device: () => ({ mayUse: true, group: 'dialout' }), processes: () => [{ name: 'sshd', words: ['sshd'] }],
    ask: async (command, [verb]) => {
      const key = `${command} ${verb}`
      if (key in says) return says[key]!
      return command === 'timedatectl' ? 'yes' : verb === 'is-enabled' ? 'masked' : unitSays
    },
    freeBytes: () => 2 ** 34, modeOf: () => 0o750, loads: async () => null, ...changes,
  }
}
const of = async (check: string, host: HostView, asked = question): Promise<HostFinding[]> =>
  (await checkHost(host, asked)).filter(finding => finding.check === check)
const worst = async (check: string, host: HostView, asked = question): Promise<string> =>
  (await of(check, host, asked)).map(({ verdict }) => verdict).find(verdict => verdict !== 'good') ?? 'good'
const mends = async (check: string, host: HostView): Promise<string> => (await of(check, host)).map(({ mend }) => mend).join()

describe('a host on which all is well', () => {
  it('has nothing to mend', async () => {
    const findings = await checkHost(hostWith(), question)
    expect(findings.filter(({ verdict, mend }) => verdict !== 'good' || mend !== '')).toEqual([])
    expect([...new Set(findings.map(({ check }) => check))])
      .toEqual(['versions', 'ports', 'grabbers', 'sleep', 'disk', 'folder', 'clock', 'service'])
  })
})

describe('each look finds what is wrong, and says how to mend it', () => {
  it('ports that are not there, or not for this user', async () => {
    expect(await worst('ports', hostWith({ device: () => null }))).toBe('bad')
    const closed = hostWith({ device: path => ({ mayUse: path !== '/dev/ttyUSB0', group: 'dialout' }) })
    expect(await of('ports', closed)).toMatchObject([{ verdict: 'bad', mend: 'sudo usermod -aG dialout ida, then log in anew' }, { verdict: 'good' }])
    expect(await mends('ports', hostWith({ device: () => ({ mayUse: false, group: 'root' }) }))).toContain('packaging/udev')
    expect(await worst('ports', hostWith({ device: () => null }), { ...question, devices: new Map() })).toBe('good')
  })

  it.each(['ModemManager', 'brltty', 'gpsd'])('%s, which opens serial ports by itself', async name => {
    const host = hostWith({ processes: () => [{ name, words: [name] }] })
    expect(await worst('grabbers', host)).toBe('bad')
    expect(await mends('grabbers', host)).toContain('systemctl')
  })

  it('a login terminal on a port of the bench, and none on another', async () => {
    const terminal = (port: string) => hostWith({ processes: () => [{ name: 'agetty', words: ['agetty', '-L', port, 'vt220'] }] })
    expect(await mends('grabbers', terminal('ttyUSB0'))).toContain('serial-getty@ttyUSB0')
    expect(await worst('grabbers', terminal('ttyUSB1'))).toBe('good')
    expect(await worst('grabbers', terminal('tty1'))).toBe('good')
  })

  it('a host that may sleep, and one that does not say', async () => {
    expect(await worst('sleep', hostWith({}, { 'systemctl is-enabled': 'static' }))).toBe('bad')
    expect(await mends('sleep', hostWith({}, { 'systemctl is-enabled': 'static' }))).toContain('sudo systemctl mask sleep.target')
    expect(await worst('sleep', hostWith({}, { 'systemctl is-enabled': null }))).toBe('cannot tell')
  })

  it.each([[2 ** 30, 'good'], [2 ** 30 - 1, 'warning'], [2 ** 28, 'warning'], [2 ** 28 - 1, 'bad'], [null, 'bad']] as const)(
    '%s bytes free are %s', async (free, verdict) => {
      expect(await worst('disk', hostWith({ freeBytes: () => free }))).toBe(verdict)
    })

  it('a data folder that others may write', async () => {
    for (const mode of [0o770, 0o702, 0o777]) expect(await worst('folder', hostWith({ modeOf: () => mode }))).toBe('bad')
    for (const mode of [0o700, 0o755]) expect(await worst('folder', hostWith({ modeOf: () => mode }))).toBe('good')
    expect(await worst('folder', hostWith({ modeOf: () => null }))).toBe('cannot tell')
  })

  it('a clock that nobody keeps', async () => {
    expect(await worst('clock', hostWith({}, { 'timedatectl show': 'no' }))).toBe('warning')
    expect(await worst('clock', hostWith({}, { 'timedatectl show': null }))).toBe('cannot tell')
  })

  it('an old Node, and a native part that does not load', async () => {
    expect(await worst('versions', hostWith({ nodeVersion: '18.20.0' }))).toBe('bad')
    expect(await worst('versions', hostWith({ nodeVersion: '22.1.0' }))).toBe('good')
    const host = hostWith({ loads: async part => part === 'serialport' ? 'wrong ABI' : null })
    expect(await of('versions', host)).toMatchObject([{ verdict: 'good' }, { verdict: 'good' }, { verdict: 'bad', found: 'serialport does not load: wrong ABI' }])
  })

  it.each(['KillMode=mixed', 'KillMode=process', 'WatchdogSignal=6', 'WatchdogUSec=0', 'Type=simple', 'NotifyAccess=main', 'UnitFileState=disabled'])(
    'a unit with %s', async line => {
      const key = line.split('=')[0]!
      const says = unitSays.replace(new RegExp(`^${key}=.*$`, 'm'), line)
      expect(await of('service', hostWith({}, { 'systemctl show': says }))).toMatchObject([{ verdict: 'bad', found: expect.stringContaining(line) as string }])
    })

  it('no unit at all', async () => {
    expect(await worst('service', hostWith({}, { 'systemctl show': 'LoadState=not-found' }))).toBe('warning')
    expect(await worst('service', hostWith({}, { 'systemctl show': null }))).toBe('warning')
  })

  it('a look that fails is told, and the others go on', async () => {
    const findings = await checkHost(hostWith({ processes: () => { throw new Error('no /proc') } }), question)
    expect(findings.find(({ check }) => check === 'grabbers')).toMatchObject({ verdict: 'cannot tell', found: 'looking failed: no /proc' })
    expect(findings.some(({ check }) => check === 'service')).toBe(true)
  })
})

describe('this host', () => {
  it('says of itself what is so', async () => {
    const folder = mkdtempSync(join(tmpdir(), 'host-'))
    const host = thisHost()
    expect(host.device(folder)).toMatchObject({ mayUse: true })
    expect(host.device(join(folder, 'no'))).toBeNull()
    expect(host.freeBytes(join(folder, 'not', 'yet'))).toBeGreaterThan(0)
    expect(host.modeOf(folder)).toBe(0o700)
    expect(await host.ask('node', ['-p', '40 + 2'])).toBe('42')
    expect(await host.ask('node', ['-e', 'console.log("masked"); process.exit(1)'])).toBe('masked')
    expect(await host.ask('no-such-command', [])).toBeNull()
    expect(await host.loads('better-sqlite3')).toBeNull()
    expect(await host.loads('no-such-part')).toContain('no-such-part')
    expect(host.processes().some(({ words }) => words.some(word => word.includes('vitest')))).toBe(true)
    rmSync(folder, { recursive: true })
  })

  it('is held against the ports of the bench file that is named', async () => {
    const folder = mkdtempSync(join(tmpdir(), 'host-'))
    const path = join(folder, 'bench.yaml')
    const bench = readFileSync(packageFile('profiles', 'benches', 'one-part.yaml'), 'utf8')
    writeFileSync(path, bench.replace(/url: [^\s,}]+/, 'url: "serial:/dev/nothing?baud=9600"'))
    const findings = await localHost(path, folder)
    expect(findings.filter(({ check, verdict }) => check === 'ports' && verdict === 'bad').map(({ found }) => found).join()).toContain('/dev/nothing of ')
    await expect(localHost(join(folder, 'no.yaml'), folder)).rejects.toMatchObject({ code: 'FILE_UNREADABLE' })
    rmSync(folder, { recursive: true })
  })
})
