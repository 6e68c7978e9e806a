/**
 * The bench as a sequence of a person's own sees it: verbs over one night, and nothing that goes round them.
 */
import { judgeConformance } from '../analysis/conformance.ts'
import { BenchError } from '../base/errors.ts'
import { connect, moveBus, next, release, rest } from '../engine/bus.ts'
import { followAll } from '../engine/bleed.ts'
import { watchAndFollow } from '../engine/recovery.ts'
import { standingVolts } from '../engine/standing.ts'
import { dropPosition } from '../engine/drop.ts'
import { onBus, type Night } from '../engine/night.ts'
import { partVolts, type PositionState } from '../engine/position.ts'
import type { BenchPart, Comparison, OwnStage, SequenceBench } from '../schema/own-sequence.ts'
import { gradeWords, type Criterion, type PartResult } from '../schema/run.ts'
import { bridgeReading } from '../sequences/bridge.ts'
import { polarityStop, stage, type Leavings } from '../sequences/climb.ts'
import { formalReadings } from '../sequences/formal.ts'
import { combine, heldTo } from '../sequences/grade.ts'
import { leakageLimit } from '../sequences/leakage-limit.ts'
import { reformParameters } from '../sequences/parameters.ts'

const ownStages: readonly OwnStage[] = ['checking', 'forming', 'soaking', 'watching', 'measuring']

export interface BenchUse {
  readonly bench: SequenceBench
  /**
   * Proves every part dead that the sequence left unproved, and turns verdicts into results. Rejects when the
   * run ends.
   */
  finish(): Promise<void>
  /** From here on every verb is refused: what a sequence left running moves nothing. */
  shut(): void
}

export function useBench(night: Night, limits: { energises: boolean; slewVPerS: number }): BenchUse {
  const use = new Use(night, limits)
  return { bench: use.asSeen(), finish: () => use.finish(), shut: () => use.shut() }
}

class Use {
  readonly #night: Night
  readonly #limits: { energises: boolean; slewVPerS: number }
  readonly #states = new Map<BenchPart, PositionState>()
  readonly #leavings: Leavings = new Map()
  readonly #results = new Map<PositionState, PartResult>()
  readonly #startedMs: number
  #connected = false
  #shut = false

  constructor(night: Night, limits: { energises: boolean; slewVPerS: number }) {
    this.#night = night
    this.#limits = limits
    this.#startedMs = night.clock.monotonicMs()
    for (const state of night.positions) this.#states.set(partOf(night, state), state)
  }

  asSeen(): SequenceBench {
    const night = this.#night
    return Object.freeze({
      targetV: night.plan.targetV, parts: Object.freeze([...this.#states.keys()]), signal: night.signal,
      get setV() { return night.state.setV },
      elapsedS: () => (night.clock.monotonicMs() - this.#startedMs) / 1000,
      stage: (name: OwnStage) => { this.#check(); stage(night, known(name)) },
      note: async (text: string, data = {}) => {
        this.#check()
        await night.recorder.event({ kind: 'note', text: String(text).slice(0, 2000), data })
      },
      rest: async (seconds: number) => {
        this.#check(); await rest(night, 1000 * finite(seconds, 0, 'a time to rest'))
      },
      next: async (channel: string) => {
        this.#check()
        const { value, u, quality, atMs } = await next(night, channel, night.clock.monotonicMs())
        return { value, u, quality, atMs }
      },
      connect: async () => await this.#connect(),
      moveBus: async (toV: number, slewVPerS = this.#limits.slewVPerS) => await this.#moveBus(toV, slewVPerS),
      drop: async (
        part: BenchPart, verdict: Parameters<SequenceBench['drop']>[1]
      ) => await this.#drop(part, verdict),
      leakageLimit: (part: BenchPart, volts: number) => {
        const state = this.#state(part)
        const limit = leakageLimit(state.profile.leakage, state.profile.capacitanceF, volts)
        state.limitA = limit.limitA
        return { ...limit }
      },
      formalReadings: async () => {
        this.#energy()
        const found = await formalReadings(night)
        return new Map([...found].map(([state, reading]) => [state.spec.name, reading]))
      },
      bleed: async () => { this.#check(); return await this.#bleed() },
      watchRecovery: async (seconds: number) => {
        this.#check()
        if (onBus(night).length > 0) throw new BenchError('REFUSED', 'parts are on the bus; bleed them first')
        stage(night, 'watching')
        const came = await watchAndFollow(night, 1000 * finite(seconds, 0, 'a time to watch'))
        return new Map([...came].map(([state, volts]) => [state.spec.name, volts]))
      },
      bridge: async (part: BenchPart) => {
        this.#check(); return await bridgeReading(night, this.#state(part))
      },
      judge: (
        part: BenchPart, comparisons: readonly Comparison[], more: Parameters<SequenceBench['judge']>[2] = {}
      ) => {
        const state = this.#state(part)
        this.#results.set(state, {
          ...head(state), ...combine(comparisons.map(criterionOf)), provisional: more.provisional === true,
          figures: { ...more.figures },
        })
      },
      cannotTell: (part: BenchPart, reason: string) => {
        const state = this.#state(part)
        this.#results.set(state, untold(state, String(reason)))
      },
    })
  }

  shut(): void { this.#shut = true }

  async finish(): Promise<void> {
    const night = this.#night
    if (onBus(night).length > 0) await this.#bleed()
    for (const state of night.positions) {
      const given = this.#results.get(state)
      const result = this.#dropped(state) ?? (given && this.#connected && !isDead(state)
        ? untold(state, `it was not proved dead: ${state.held.words}`) : given && this.#asFar(state, given))
      if (result === undefined) continue
      state.result = result
      if (state.stage !== 'dropped' && isDead(state)) state.stage = 'graded'
      const { disposition, reason } = result
      void night.recorder.event({
        kind: 'grade', position: state.spec.name,
        text: `${state.spec.name} ${state.part.part}: ${gradeWords(result)}, ${disposition}: ${reason}`,
      }).catch(() => {})
    }
  }

  /** What is said of a part that was on the bus holds to the volts it was taken to. */
  #asFar(state: PositionState, given: PartResult): PartResult {
    const { plan: { targetV }, state: { mostSetV } } = this.#night
    return this.#connected ? heldTo(state, Math.min(targetV, mostSetV), given) : given
  }

  /** What a part that left the run on the way gets, whatever was said of it before. */
  #dropped(state: PositionState): PartResult | undefined {
    if (state.stage !== 'dropped') return undefined
    const leaving = this.#leavings.get(state)
    if (!leaving) return {
      ...untold(state, state.note), grade: 'reject', disposition: 'replace', pConform: 0
    }
    const { grade, disposition, reason } = leaving
    return { ...untold(state, reason), grade, disposition, pConform: grade === 'reject' ? 0 : NaN }
  }

  async #connect(): Promise<void> {
    this.#energy()
    const night = this.#night
    if (this.#connected) throw new BenchError('REFUSED', 'parts are put on the bus once a run')
    if (night.state.setV !== 0) throw new BenchError(
      'REFUSED', `the bus is at ${night.state.setV} V; parts are put on it at zero`
    )
    this.#connected = true
    await connect(night, night.positions.filter(state => state.stage !== 'dropped'))
    await polarityStop(night, reformParameters.parse({ slewVPerS: this.#limits.slewVPerS }), this.#leavings)
    stage(night, 'forming')
  }

  async #moveBus(toV: number, slewVPerS: number): Promise<void> {
    this.#energy()
    const night = this.#night
    const rises = finite(toV, 0, 'a bus voltage') > night.state.setV
    if (rises && finite(slewVPerS, 0.01, 'a slew') > this.#limits.slewVPerS) {
      throw new BenchError('REFUSED', 'the bus would rise too fast', {
        expected: `at most ${this.#limits.slewVPerS} V/s, as the sequence declares`, got: `${slewVPerS} V/s`,
      })
    }
    await moveBus(night, toV, slewVPerS)
  }

  async #drop(
    part: BenchPart, { grade, disposition, reason }: Parameters<SequenceBench['drop']>[1]
  ): Promise<void> {
    this.#check()
    const state = this.#state(part)
    if (this.#leavings.has(state)) return
    this.#leavings.set(state, { grade, disposition, reason: String(reason), stepV: this.#night.state.setV })
    await dropPosition(this.#night, state, {
      text: String(reason), atMs: this.#night.clock.monotonicMs(), verdict: { grade, disposition },
    })
  }

  /** Where nothing was read of a part yet, a first reading: it may stand charged from before. */
  async #bleed(): Promise<Map<string, boolean>> {
    const night = this.#night
    const standing = night.positions.filter(state => state.stage !== 'dropped')
    for (const state of standing) {
      if (state.current === null) await next(night, `${state.spec.name}.current`, night.clock.monotonicMs())
    }
    const stoodAtV = standingVolts(night)
    await release(night, standing)
    await followAll(night, standing, stoodAtV)
    return new Map(standing.map(state => [state.spec.name, isDead(state)]))
  }

  #check(): void {
    if (this.#shut) throw new BenchError('REFUSED', 'the run of this sequence has ended')
    this.#night.signal.throwIfAborted()
  }

  #energy(): void {
    this.#check()
    if (!this.#limits.energises) throw new BenchError(
      'REFUSED', 'this sequence declares that it energises nothing'
    )
  }

  #state(part: BenchPart): PositionState {
    this.#check()
    const state = this.#states.get(part)
    if (!state) throw new BenchError('NOT_FOUND', 'this is no part of the run: give one of bench.parts')
    return state
  }
}

function partOf(night: Night, state: PositionState): BenchPart {
  return Object.freeze({
    position: state.spec.name, part: state.part.part, profile: state.profile,
    get stage() { return state.stage },
    get onBus() { return state.wiring === 'bus' },
    get volts() { return partVolts(night.bench.fixture, state, night.state.watching) },
    get currentA() { return state.current?.quality === 'good' ? state.current.value : null },
    get caseC() { return state.caseC },
  })
}

const isDead = ({ held }: PositionState): boolean => held.state === 'dead'

const head = (state: PositionState): Pick<PartResult, 'position' | 'part' | 'profile'> =>
  ({ position: state.spec.name, part: state.part.part, profile: state.profile.name })

const untold = (state: PositionState, reason: string): PartResult => ({
  ...head(state), grade: 'cannot tell', provisional: false, disposition: 'retest', pConform: NaN, reason,
  criteria: [], figures: {},
})

function criterionOf({ name, value, u, unit, limitLow, limitHigh, source }: Comparison): Criterion {
  if (limitLow === undefined && limitHigh === undefined) {
    throw new BenchError(
      'USAGE', `the comparison of ${name}`, { expected: 'limitLow or limitHigh', got: 'neither' }
    )
  }
  const bounds = {
    ...(limitLow === undefined ? {} : { limitLow }), ...(limitHigh === undefined ? {} : { limitHigh })
  }
  const { expandedU, guardBand, pConform, grade } = judgeConformance({ y: value, u }, {
    ...(limitLow === undefined ? {} : { lower: limitLow }),
    ...(limitHigh === undefined ? {} : { upper: limitHigh }),
  })
  return { name, value, unit, expandedU, guardBand, pConform, grade, source, ...bounds }
}

function known(name: OwnStage): OwnStage {
  if (ownStages.includes(name)) return name
  throw new BenchError('USAGE', 'stage', { expected: ownStages.join(', '), got: String(name) })
}

function finite(value: number, least: number, what: string): number {
  if (Number.isFinite(value) && value >= least) return value
  throw new BenchError('USAGE', what, { expected: `a number from ${least} on`, got: String(value) })
}
