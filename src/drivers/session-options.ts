/** What a session must know of an instrument, taken from its profile. */
import type { InstrumentProfile } from '../schema/instrument-profile.ts'
import type { SessionOptions } from '../scpi/options.ts'

const terminators = { lf: '\n', crlf: '\r\n', cr: '\r' } as const

/**
 * The options of a session that come from the profile. Name, clocks and the expected identity are the bench's
 * to add.
 */
export function sessionOptionsOf(profile: InstrumentProfile): Omit<SessionOptions, 'name' | 'clock'> {
  const { link, errorQueue } = profile
  return {
    deadlineMs: link.deadlineMs,
    frameBytesMax: link.answerBytesMax,
    txTerminator: terminators[link.sendEnds],
    rxTerminator: link.answerEnds === 'cr' ? '\r' : '\n',
    pacingMs: link.pauseMs,
    echo: link.echo,
    prompts: link.prompts,
    ignoreLines: link.ignoredStarts.map(start => new RegExp(`^${escaped(start)}`)),
    errorQueue: errorCheckOf(errorQueue),
    identity: { query: '*IDN?' },
    clear: link.clear,
    resync: link.resync,
    onConnect: link.remote === undefined ? [] : [link.remote],
  }
}

function errorCheckOf(queue: InstrumentProfile['errorQueue']): SessionOptions['errorQueue'] {
  switch (queue.kind) {
    case 'queue': return { query: queue.query, none: queue.noneCodes, max: queue.entriesMax }
    case 'event-register': return { kind: 'event-register', query: queue.query, errorMask: queue.errorMask }
    case 'none': return null
  }
}

const escaped = (text: string): string => text.replace(/[.*+?^${}()|[\]\\/]/g, '\\$&')
