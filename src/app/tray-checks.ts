/** What a bench must have before parts may be laid on the tray of its jig. */
import type { TraySpec } from '../schema/bench.ts'
import type { InstrumentProfile } from '../schema/instrument-profile.ts'
import type { Problem } from '../schema/read-file.ts'
import type { LoadedBench } from './files.ts'

type Say = (path: string, expected: string, got: string) => void
type ScannerProfile = InstrumentProfile & { class: 'scanner' }

export function trayProblems(bench: LoadedBench, file: string): Problem[] {
  const list: Problem[] = []
  const say: Say = (path, expected, got) => { list.push({ file, path, expected, got }) }
  const { file: { jig, roles, fixture }, profiles } = bench
  if (!jig?.tray) return list
  if (jig.cover) say('jig.tray', 'none on a jig with a cover: a tray lies open to hands', 'both')
  if (!roles.jig) say('roles.jig', 'the relay board that joins the tray with the terminals', 'none')
  if (!roles.bridge || jig.leads && !jig.leads.bridge) {
    say('roles.bridge', 'a bridge at the jig, which sees that one channel closes alone', 'none')
  }
  if (!roles.scanner) say('roles.scanner', 'the scanner whose channels are the positions', 'none')
  if (roles.scanner && fixture.positions.some(({ sense }) => sense !== undefined)) {
    say('roles.scanner', 'a scanner of its own: its common line goes to the jig', 'one that the fixture uses')
  }
  const profile = profiles.get(bench.roles.get('scanner')?.instrument ?? '')?.profile
  if (profile?.class === 'scanner') pathProblems(profile, jig.tray, say)
  onceEach(jig.tray, bench, say)
  return list
}

function pathProblems({ path, profile, channels }: ScannerProfile, tray: TraySpec, say: Say): void {
  if (!path) {
    const expected = 'a profile with `path`: what the way through it adds and bears'
    say('roles.scanner', expected, `${profile}, without`)
  }
  for (const [index, { channel }] of tray.positions.entries()) {
    if (channels.some(([first, last]) => channel >= first && channel <= last)) continue
    const known = channels.map(([first, last]) => `${first} to ${last}`).join(', ')
    say(`jig.tray.positions[${index}].channel`, known, String(channel))
  }
}

function onceEach({ positions, join }: TraySpec, { file: { jig } }: LoadedBench, say: Say): void {
  const seen = new Map<string, string>()
  const once = (id: string, path: string): void => {
    const before = seen.get(id)
    if (before === undefined) seen.set(id, path)
    else say(path, 'each once', `${id}, as at ${before}`)
  }
  for (const [name, ends] of Object.entries({ ...jig!.leads, ...jig!.joint ? { joint: jig!.joint } : {} })) {
    for (const relay of [...ends.high, ...ends.low]) seen.set(`relay ${relay}`, name)
  }
  join.forEach((relay, i) => once(`relay ${relay}`, `jig.tray.join[${i}]`))
  positions.forEach(({ name, channel }, i) => {
    once(`name ${name}`, `jig.tray.positions[${i}].name`)
    once(`channel ${channel}`, `jig.tray.positions[${i}].channel`)
  })
}
