/**
 * Puts a bench together: sessions for what only measures, the keeper for what can apply
 * or cut energy, drivers on both.
 */
import type { Clock } from '../base/clock.ts'
import { createDriver } from '../drivers/create.ts'
import { sessionOptionsOf } from '../drivers/session-options.ts'
import { compileTable } from '../keeper/table.ts'
import type { SafeOffTable } from '../keeper/table.ts'
import type { InstrumentProfile } from '../schema/instrument-profile.ts'
import type { RelayBoard, RoleName, Roles } from '../schema/roles.ts'
import type { ScpiPort } from '../scpi/port.ts'
import { energyRoles } from '../schema/roles.ts'
import type { SessionOptions } from '../scpi/options.ts'
import { Session } from '../scpi/session.ts'
import type { Transport } from '../transport/transport.ts'
import type { LoadedBench } from './files.ts'

export interface ComposeDeps {
  clock: Clock
  /** Real time for link deadlines, also where bench time is led. */
  linkClock: Clock
  /** Makes a transport for an instrument of the bench. */
  open: (url: string) => Transport
  /** Port of an energy link, through the keeper. */
  keeperPort: (instrument: string) => ScpiPort
}

export interface ComposedBench {
  readonly roles: Roles
  /** Every instrument's port by name, for identities and self-checks. */
  readonly ports: ReadonlyMap<string, ScpiPort>
  readonly sessions: ReadonlyMap<string, Session>
  readonly table: SafeOffTable
}

/** Names of the instruments whose links the keeper owns. */
export function energyInstruments(bench: LoadedBench): string[] {
  // The board that locks a cover is made safe with what is behind it.
  const roles: RoleName[] = bench.file.jig?.cover ? [...energyRoles, 'jig'] : [...energyRoles]
  const names = roles.map(role => bench.roles.get(role)?.instrument).filter(name => name !== undefined)
  return [...new Set(names)]
}

/**
 * A simulated unit whose bench owns time is computed while its instruments are asked, which takes real time
 * on their links: so many times their deadline.
 */
const computedShare = 10

function profileOf({ file, profiles }: LoadedBench, name: string): InstrumentProfile {
  const { profile } = profiles.get(name)!
  if (file.stand === undefined || file.simulated === undefined) return profile
  const { link } = profile
  return { ...profile, link: { ...link, deadlineMs: computedShare * link.deadlineMs } }
}

export function optionsFor(bench: LoadedBench, name: string, clock: Clock, linkClock: Clock): SessionOptions {
  return { ...sessionOptionsOf(profileOf(bench, name)), name, clock, linkClock }
}

export function compose(bench: LoadedBench, deps: ComposeDeps): ComposedBench {
  const guarded = new Set(energyInstruments(bench))
  const sessions = new Map<string, Session>()
  const ports = new Map<string, ScpiPort>()
  for (const [name, { url }] of Object.entries(bench.file.instruments)) {
    if (guarded.has(name)) { ports.set(name, deps.keeperPort(name)); continue }
    const session = new Session(() => deps.open(url), optionsFor(bench, name, deps.clock, deps.linkClock))
    sessions.set(name, session)
    ports.set(name, session)
  }
  const roles: Roles = {}
  for (const [role, target] of bench.roles) {
    assign(roles, role, bench, ports.get(target.instrument)!, deps.clock, target)
  }
  const coverBoard = bench.file.jig?.cover && roles.jig
  const table = compileTable({ ...roles, coverBoard }, undefined, quietLines(bench, roles.positions))
  return { roles, ports, sessions, table }
}

/** Holding the bridge's relays, the bleeders' watch resistor or a lamp puts no energy on anything. */
function quietLines(bench: LoadedBench, board: RelayBoard | undefined): string[] {
  if (!board) return []
  const onBoard = (role: RoleName, count: number): number[] => {
    const target = bench.roles.get(role)
    if (target?.relay === undefined || target.instrument !== board.name) return []
    return Array.from({ length: count }, (_, i) => target.relay! + i)
  }
  const bridge = bench.file.fixture.positions.flatMap(({ bridgeRelay }) => bridgeRelay ?? [])
  return [...bridge, ...onBoard('bleed', 1), ...onBoard('beacon', 2)].map(relay => board.holdLine(relay))
}

function assign<R extends RoleName>(
  roles: Roles, role: R, bench: LoadedBench, port: ScpiPort, clock: Clock,
  target: { instrument: string; relay?: number },
): void {
  const profile = profileOf(bench, target.instrument)
  roles[role] = createDriver(role, profile, port, clock,
    target.relay === undefined ? {} : { relay: target.relay })
}
