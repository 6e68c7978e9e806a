import { readFileSync } from 'node:fs'
import { describe, expect, it } from 'vitest'
import { VirtualClock } from '../../src/base/clock.ts'
import { packageFile } from '../../src/base/paths.ts'
import { isLookedAfter } from '../../src/cli/serve.ts'
import { serviceManager, type ServiceOptions } from '../../src/cli/service-manager.ts'

const started = { NOTIFY_SOCKET: '/run/x', WATCHDOG_USEC: '30000000', WATCHDOG_PID: '42' }

function told(env: Record<string, string> = started, changes: Partial<ServiceOptions> = {}) {
  const clock = new VirtualClock()
  const said: string[] = []
  const warned: string[] = []
  const manager = serviceManager({
    env, pid: 42, clock, alive: () => true, notify: async words => { said.push(...words) },
    log: { warn: (_: unknown, what: string) => { warned.push(what) }, error: (_: unknown, what: string) => { warned.push(what) } } as unknown as ServiceOptions['log'],
    ...changes,
  })
  return { clock, said, warned, manager }
}
const fed = (said: readonly string[]): number => said.filter(word => word === 'WATCHDOG=1').length

describe('the service manager', () => {
  it('hears nothing before the bench is off, then that it is, in one line', () => {
    const { said, manager } = told()
    expect(said).toEqual([])
    manager.ready('bench at x\nREADY=0')
    expect(said.slice(0, 2)).toEqual(['READY=1', 'STATUS=bench at x READY=0'])
    manager.stopping()
    expect(said.at(-1)).toBe('STOPPING=1')
  })
  it('is fed three times within its limit, and no more after the end', async () => {
    const { clock, said, manager } = told()
    manager.ready('x')
    await clock.advance(30_000)
    expect(fed(said)).toBe(4)
    manager.end()
    await clock.advance(60_000)
    expect(fed(said)).toBe(4)
  })
  it('is not fed while a run is not looked after, and again when it is', async () => {
    let alive = false
    const { clock, said, warned, manager } = told(started, { alive: () => alive })
    manager.ready('x')
    await clock.advance(60_000)
    expect(fed(said)).toBe(0)
    expect(warned.length).toBeGreaterThan(3)
    alive = true
    await clock.advance(10_000)
    expect(fed(said)).toBe(1)
  })
  it.each([
    ['no socket', { WATCHDOG_USEC: '30000000' }, 0, 0], ['no watchdog', { NOTIFY_SOCKET: '/run/x' }, 2, 0],
    ['the watchdog of another process', { ...started, WATCHDOG_PID: '43' }, 2, 0], ['a watchdog of nothing', { ...started, WATCHDOG_USEC: '0' }, 2, 0],
    ['a watchdog for whoever it is', { NOTIFY_SOCKET: '/run/x', WATCHDOG_USEC: '30000000' }, 6, 4],
  ] as const)('with %s is told only what it asked for', async (_, env, words, feedings) => {
    const { clock, said, manager } = told(env)
    manager.ready('x')
    await clock.advance(30_000)
    manager.end()
    expect(said).toHaveLength(words)
    expect(fed(said)).toBe(feedings)
  })
  it('harms nothing when it cannot be told, and is complained of once', async () => {
    const { clock, warned, manager } = told(started, { notify: async () => { throw new Error('no such command') } })
    manager.ready('x')
    await clock.advance(60_000)
    expect(warned).toEqual(['the service manager was not told'])
  })
  it('is fed by energy that the keeper guards, and by none that it does not', () => {
    expect(isLookedAfter({ energy: 'live', keeper: 'armed' })).toBe(true)
    expect(isLookedAfter({ energy: 'off', keeper: 'idle' })).toBe(true)
    for (const keeper of ['idle', 'gone', 'safe'] as const) expect(isLookedAfter({ energy: 'live', keeper })).toBe(false)
  })
})

describe('the unit that ships', () => {
  const unit = readFileSync(packageFile('packaging', 'systemd', 'nightbench.service'), 'utf8')
  const says = (key: string): string | undefined => new RegExp(`^${key}=(.*)$`, 'm').exec(unit)?.[1]
  it('lets the keeper end its work, whatever happens to the daemon', () => {
    expect(says('KillMode')).toBe('control-group')
    expect(says('KillSignal')).toBe('SIGTERM')
    expect(says('WatchdogSignal')).toBe('SIGTERM')
    expect(says('TimeoutStopSec')).toBe('5min')
    expect(says('SendSIGHUP')).toBeUndefined()
  })
  it('fits how the daemon speaks, and starts nothing but the daemon', () => {
    expect(says('Type')).toBe('notify')
    expect(says('NotifyAccess')).toBe('all')
    expect(says('ExecStart')).toMatch(/ nightbench serve --bench \S+$/)
    expect(unit).not.toMatch(/^Exec(StartPost|StopPost)=/m)
  })
  it('goes with the package', () => {
    const { files } = JSON.parse(readFileSync(packageFile('package.json'), 'utf8')) as { files: string[] }
    expect(files).toContain('packaging')
  })
})
