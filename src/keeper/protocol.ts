/**
 * What daemon and keeper say to each other over their channel. Everything the keeper does not understand to
 * the letter makes the bench safe. Exchanges and beats come thousands of times a second: they are short
 * arrays, checked by hand. All else is an object, checked by schema.
 */
import { z } from 'zod'
import { BenchError, catalogue, asBenchError, type ErrorCode, type ErrorContext } from '../base/errors.ts'
import { safeOffReport } from '../schema/application.ts'
import type { KeeperEvent } from './host.ts'

const step = z.strictObject({
  commands: z.array(z.string().min(1)).min(1),
  verify: z.strictObject({
    query: z.string().min(1), safe: z.array(z.union([z.number(), z.string()])).min(1),
    tolerance: z.number().min(0).optional(),
  }).optional(),
  afterwards: z.array(z.string().min(1)).optional(),
})
const table = z.strictObject({
  phases: z.array(z.strictObject({
    gapMs: z.number().min(0).max(10_000), steps: z.array(z.strictObject({ link: z.string(), step })),
  })),
  refreshes: z.array(z.strictObject(
    { link: z.string(), command: z.string().min(1), everyMs: z.number().min(1) }
  )),
  energising: z.array(z.strictObject({ link: z.string(), begins: z.string(), but: z.array(z.string()) })),
})

const errorQueue = z.union([
  z.strictObject({ kind: z.literal('queue').optional(), query: z.string(), max: z.number().int().positive(),
    none: z.union([z.literal('code-zero'), z.array(z.number())]) }),
  z.strictObject({ kind: z.literal('event-register'), query: z.string(), errorMask: z.number().int() }),
])

/**
 * The options of a session as data: what `SessionOptions` has but clocks and listeners; patterns as source
 * text.
 */
const linkSettings = z.strictObject({
  deadlineMs: z.number().positive(), frameBytesMax: z.number().int().positive(),
  txTerminator: z.string().optional(), rxTerminator: z.enum(['\n', '\r']).optional(),
  pacingMs: z.number().min(0).optional(),
  echo: z.boolean().optional(), prompts: z.array(z.string()).optional(),
  ignoreLines: z.array(z.string()).optional(),
  errorQueue: errorQueue.nullable(),
  identity: z.strictObject({
    query: z.string(), expected: z.union([z.string(), z.strictObject({ pattern: z.string() })]).optional(),
  }).optional(),
  clear: z.enum(['none', 'break', 'ctrl-c', 'device-clear']).optional(),
  resync: z.enum(['ese-nonce', 'identity']).optional(),
  onConnect: z.array(z.string()).optional(), quietMs: z.number().positive().optional(),
  connectMs: z.number().positive().optional(), safeOffMs: z.number().positive().optional(),
  waitingMax: z.number().int().positive().optional(),
})
export type LinkSettings = z.infer<typeof linkSettings>

const startMessage = z.strictObject({
  do: z.literal('start'),
  links: z.array(z.strictObject({ name: z.string().min(1), url: z.string(), settings: linkSettings })),
  /** Null where none can be used: no log and no stop door then, but links that are made safe. */
  dataFolder: z.string().min(1).nullable(),
  clock: z.discriminatedUnion('kind', [
    z.strictObject({ kind: z.literal('real') }), z.strictObject({ kind: z.literal('led'), url: z.string() }),
  ]),
})
export type KeeperStart = z.infer<typeof startMessage>

const id = z.number().int()
/** A daemon that may be silent for longer is not watched. */
export const beatLimitMostMs = 60_000
const order = z.discriminatedUnion('do', [
  startMessage,
  z.strictObject({ do: z.literal('configure'), id, table, firstSafeOff: z.boolean() }),
  z.strictObject({ do: z.literal('arm'), id, table, beatLimitMs: z.number().min(1).max(beatLimitMostMs) }),
  z.strictObject({ do: z.literal('disarm'), id }),
  z.strictObject({ do: z.literal('reset'), id }),
  z.strictObject({ do: z.literal('safe-off'), id, reason: z.string() }),
  z.strictObject({ do: z.literal('close') }),
])
/** What the daemon asks for, exchanges and beats apart. */
export type Order = z.infer<typeof order>

/** `['q', id, link, command, deadlineMs]`: 0 stands for the session's own deadline. */
export type QueryFrame = ['q', number, string, string, number]
/** `['w', id, link, command, deadlineMs, check]`: -1 leaves the check to the session, 0 is none, 1 is one. */
export type WriteFrame = ['w', number, string, string, number, number]
/** `['b', 1]`: every watched reading is fresh; `['b', 0]`: not so. */
export type BeatFrame = ['b', number]
export type HotFrame = QueryFrame | WriteFrame | BeatFrame

/** The frame, or null when it is none to the letter. */
export function asHotFrame(raw: readonly unknown[]): HotFrame | null {
  const [kind, number, link, command, deadlineMs, check] = raw
  if (kind === 'b') return raw.length === 2 && (number === 0 || number === 1) ? raw as BeatFrame : null
  const shaped = typeof number === 'number' && typeof link === 'string' && typeof command === 'string'
    && typeof deadlineMs === 'number' && deadlineMs >= 0
  if (!shaped) return null
  if (kind === 'q') return raw.length === 5 ? raw as unknown as QueryFrame : null
  return kind === 'w' && raw.length === 6 && typeof check === 'number' ? raw as unknown as WriteFrame : null
}

/** The order, or what is wrong with it in one sentence. */
export function asOrder(raw: unknown): Order | string {
  const parsed = order.safeParse(raw)
  if (parsed.success) return parsed.data
  const issue = parsed.error.issues[0]!
  return `${issue.path.join('.') || 'message'}: ${issue.message}`
}

export interface ErrorFrame { code: ErrorCode; message: string; context: ErrorContext }

/** `['a', id, answer]`: an exchange or order is done; null where there is nothing to answer. */
export type DoneFrame = ['a', number, unknown]
export type FailedFrame = ['e', number, ErrorFrame]
/** What the keeper says: the fate of what was asked, a beat echoed, an event, or that it can take orders. */
export type Reply = DoneFrame | FailedFrame | ['b'] | ['v', KeeperEvent] | ['ready']

export function packError(error: unknown): ErrorFrame {
  const { code, message, context } = asBenchError(error)
  return { code, message, context }
}

/** The error as it was on the other side; its message is complete already. */
export function unpackError(frame: ErrorFrame): BenchError {
  const error = new BenchError(frame.code in catalogue ? frame.code : 'HOST', frame.message)
  return Object.assign(error, { context: frame.context })
}

/** One line on the stop socket, and its answer. */
export const stopLine = z.strictObject({ stop: z.string(), by: z.string() })
export const stopAnswer = z.union([safeOffReport, z.strictObject({ error: z.string() })])
