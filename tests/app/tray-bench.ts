/** A bench with a tray, a parts list, what really lies on the table, and a person who lays what is asked for. */
import { makeWire } from '../../mocks/bench/drawer.ts'
import type { Component } from '../../mocks/components/component.ts'
import { usualRatings } from '../../mocks/components/kinds.ts'
import { makeComponent } from '../../mocks/components/make-component.ts'
import { virtualJig, type VirtualJig, type VirtualJigOptions } from '../../nights/virtual-jig.ts'
import type { Daemon } from '../../src/app/daemon.ts'
import type { PartResult, RunRecord } from '../../src/schema/run.ts'
import type { Deed, ScreenRequest, ScreenStatus } from '../../src/schema/screening.ts'
import type { TablePart } from './screening-bench.ts'

export interface TrayTable extends VirtualJig {
  readonly told: { tone: string; text: string }[]
  readonly results: PartResult[]
  readonly parts: Map<string, Component>
  /** Where the person lays something else than what is asked for: null lays nothing. */
  readonly instead: Map<string, Component | null>
  /** Called with each new way that the session stands; true: the person does nothing else about it. */
  onStands: (status: ScreenStatus) => boolean | void
  say(deed: Deed, at?: string): void
  screen(request: ScreenRequest, on?: Daemon): Promise<RunRecord>
  follow(daemon: Daemon): void
}

/** From being asked to what was asked for done, ms. */
const laysMs = 20_000

export async function openTrayTable(
  parts: readonly TablePart[], options: VirtualJigOptions & { tray: number },
): Promise<TrayTable> {
  const bench = await virtualJig(options)
  const lying = new Map(parts.map(({ id, kind, defect }) => [id, makeComponent(kind, usualRatings[kind], id, defect ? { defect } : {})]))
  const { clock, sim } = bench
  let done = ''
  const table: TrayTable = {
    ...bench, told: [], results: [], parts: lying, instead: new Map(), onStands: () => {},
    say: (deed, at) => { clock.after(500, () => table.daemon.screening.do(deed, at)) },
    screen: async (request, on = table.daemon) => {
      const run = await clock.run(on.screening.begin(request))
      return await clock.run(on.ended(run.id))
    },
    follow: daemon => {
      daemon.subscribe(item => {
        if (item.type === 'result') table.results.push(item.result)
        if (item.type !== 'screening' || !item.screening) return
        const { told, tray, stands } = item.screening
        const last = table.told.at(-1)
        if (told && (last?.tone !== told.tone || last.text !== told.text)) table.told.push({ tone: told.tone, text: told.text })
        if (!tray) return
        const now = `${stands} ${tray.stage} ${tray.laying} ${tray.slots.map(slot => `${slot.position}${stands === 'in doubt' ? slot.stands : ''}`).join()}`
        if (now === done) return
        done = now
        if (table.onStands(item.screening) === true) return
        if (stands === 'clearing') clock.after(laysMs, () => sim.tray!.clear())
        if (stands === 'laying') clock.after(laysMs, () => { lay(tray.stage, tray.slots); table.say('laid') })
        if (stands === 'in doubt') table.say('skip')
      })
    },
  }
  const lay = (stage: string, slots: readonly { position: string; id: string; stands: string }[]): void => {
    sim.tray!.clear()
    for (const { position, id } of slots) {
      const other = table.instead.get(position)
      sim.tray!.lay(position, stage === 'wires' ? makeWire() : other !== undefined ? other : lying.get(id) ?? null)
    }
  }
  table.follow(bench.daemon)
  return table
}
