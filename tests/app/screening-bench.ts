/** A bench with a jig, a parts list, what really lies on the table, and hands that do as they are told. */
import { Hands, type HandsOptions, type Heard } from '../../mocks/bench/hands.ts'
import type { Component } from '../../mocks/components/component.ts'
import { usualRatings, type ComponentKind, type Defect } from '../../mocks/components/kinds.ts'
import { makeComponent } from '../../mocks/components/make-component.ts'
import { virtualJig, type VirtualJig, type VirtualJigOptions } from '../../nights/virtual-jig.ts'
import type { Daemon } from '../../src/app/daemon.ts'
import { readPartsText } from '../../src/cli/parts-file.ts'
import type { PartResult, RunRecord } from '../../src/schema/run.ts'
import { screenRequest, type Deed, type ScreenRequest } from '../../src/schema/screening.ts'

export interface TablePart { readonly id: string; readonly kind: ComponentKind; readonly line: string; readonly defect?: Defect }

/** What stands in the list for the usual rating of a kind. */
export const listed: Partial<Record<ComponentKind, string>> = {
  resistor: 'resistor,4k7,5,,', 'film-capacitor': 'capacitor,100n 100V,10,film,', 'electrolytic-capacitor': 'electrolytic capacitor,10u 25V,20,,',
  inductor: 'inductor,100u,10,,', diode: 'diode,small signal,,silicon,', zener: 'zener,5.1 V,5,silicon,', npn: 'npn,small signal,,silicon,',
  potentiometer: 'potentiometer,10k,20,,linear',
  'ganged-potentiometer': 'potentiometer,10k,20,,two gangs linear',
  transformer: 'transformer,microphone 1:10,,,',
  'tapped-transformer': 'transformer,230:12-0-12:6.3,,,',
  'bridge-rectifier': 'bridge rectifier,100 V,,silicon,',
  'selenium-rectifier': 'rectifier,125 V,,selenium,5 plates', 'selenium-bridge': 'bridge rectifier,50 V,,selenium,2 plates',
  'n-jfet': 'n-channel jfet,small signal,,,', 'p-jfet': 'p-channel jfet,small signal,,,',
  'n-depletion-mosfet': 'n-channel depletion mosfet,small signal,,,', 'p-depletion-mosfet': 'p-channel depletion mosfet,small signal,,,',
  'n-mosfet': 'n-channel mosfet,small signal,,,', 'p-mosfet': 'p-channel mosfet,small signal,,,',
}
export const tablePart = (id: string, kind: ComponentKind, defect?: Defect): TablePart =>
  ({ id, kind, line: listed[kind]!, ...(defect ? { defect } : {}) })

export const resistor1k = (id: string, ohm = 1000): Component => makeComponent('resistor', { value: ohm, tolerance: 1e-6 }, id)

export function requestFor(parts: readonly TablePart[], over: Partial<ScreenRequest> = {}): ScreenRequest {
  const text = ['designator,kind,value,tolerance,dielectric,note', ...parts.map(({ id, line }) => `${id},${line}`)].join('\n')
  const { list, problems } = readPartsText('list.csv', text)
  if (problems.length > 0) throw new Error(JSON.stringify(problems))
  return screenRequest.parse({ unit: 'pavilion', parts: list.parts, person: 'Ida', ...over })
}

export interface Table extends VirtualJig {
  readonly told: { tone: Heard; text: string }[]
  readonly results: PartResult[]
  readonly hands: Hands
  /** By the name that is called. */
  readonly parts: Map<string, Component>
  /** Called with everything told, before the hands hear it. */
  onTold: (tone: Heard, text: string) => void
  /** From the request to the end of its session. */
  screen(request: ScreenRequest, on?: Daemon): Promise<RunRecord>
  follow(daemon: Daemon): void
}

type Haste = Pick<HandsOptions, 'putMs' | 'takeMs'>

export async function openTable(parts: readonly TablePart[], { putMs, takeMs, ...options }: VirtualJigOptions & Haste = {}): Promise<Table> {
  const bench = await virtualJig(options)
  const lying = new Map(parts.map(({ id, kind, defect }) => [id, makeComponent(kind, usualRatings[kind], id, defect ? { defect } : {})]))
  const hands = new Hands({ bench: bench.sim, clock: bench.clock, find: name => lying.get(name) ?? null, ...putMs ? { putMs } : {}, ...takeMs ? { takeMs } : {} })
  const table: Table = {
    ...bench, told: [], results: [], hands, parts: lying, onTold: () => {},
    screen: async (request, on = bench.daemon) => {
      const run = await bench.clock.run(on.screening.begin(request))
      return await bench.clock.run(on.ended(run.id))
    },
    follow: daemon => {
      daemon.subscribe(item => {
        if (item.type === 'result') table.results.push(item.result)
        if (item.type !== 'screening' || !item.screening?.told) return
        const { tone, text } = item.screening.told
        const last = table.told.at(-1)
        if (last?.tone === tone && last.text === text && tone !== 'ask') return
        table.told.push({ tone, text })
        table.onTold(tone, text)
        hands.hear(tone, text)
      })
    },
  }
  table.follow(bench.daemon)
  return table
}

/** Does it in the next turn, as a person would. */
export const soon = (table: Table, deed: Deed, ms = 400): void => {
  table.clock.after(ms, () => table.daemon.screening.do(deed))
}
