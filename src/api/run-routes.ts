/** Routes that read the record. */
import { Readable } from 'node:stream'
import { z } from 'zod'
import { BenchError } from '../base/errors.ts'
import { recordCsv } from '../report/csv.ts'
import { recordHtml } from '../report/html.ts'
import { recordJson } from '../report/json.ts'
import { buildPartRecord, buildRecord, type PartTestRecord, type RunTestRecord } from '../report/record.ts'
import type { Application } from '../schema/application.ts'
import type { Channel } from '../schema/reading.ts'
import type { RunRecord } from '../schema/run.ts'
import type { Routes } from './build.ts'
import { readingsText } from './readings-text.ts'
import {
  channelShape, answers, eventShape, idParams, resultShape, runHeadShape, runShape, seriesShape,
} from './shapes.ts'

const number = (fallback: number, max: number) => z.coerce.number().int().min(1).max(max).default(fallback)
const recordQuery = z.strictObject({
  format: z.enum(['html', 'csv', 'json']).default('html'),
  verify: z.enum(['true', 'false']).default('false').describe('Recompute the chain of hashes'),
})

export function runRoutes(routes: Routes, app: Application): void {
  const { store } = app
  routes.get('/runs', {
    schema: {
      summary: 'Runs, newest first, each without its setup',
      querystring: z.strictObject({ limit: number(50, 1000) }), response: answers(200, z.array(runHeadShape)),
    },
  }, async request => await store.listRuns(request.query.limit))

  routes.get('/runs/:id', {
    schema: { summary: 'One run', params: idParams, response: answers(200, runShape) },
  }, async request => await findRun(app, request.params.id))

  routes.get('/runs/:id/events', {
    schema: {
      summary: 'Events of a run, from a link of its chain on', params: idParams,
      querystring: z.strictObject({ fromSeq: z.coerce.number().int().min(0).default(0) }),
      response: answers(200, z.array(eventShape)),
    },
  }, async request => {
    await findRun(app, request.params.id)
    return await store.events(request.params.id, request.query.fromSeq)
  })

  routes.get('/runs/:id/results', {
    schema: {
      summary: 'The newest result of each position', params: idParams,
      response: answers(200, z.array(resultShape)),
    },
  }, async request => {
    await findRun(app, request.params.id)
    return await store.results(request.params.id)
  })

  routes.get('/runs/:id/channels', {
    schema: {
      summary: 'What is read in a run', params: idParams, response: answers(200, z.array(channelShape)),
    },
  }, async request => {
    await findRun(app, request.params.id)
    return await store.channels(request.params.id)
  })
  seriesRoutes(routes, app)
  recordRoutes(routes, app)
}

function seriesRoutes(routes: Routes, app: Application): void {
  routes.get('/runs/:id/series', {
    schema: {
      summary: 'One channel in at most so many buckets', params: idParams,
      querystring: z.strictObject({ channel: z.string().min(1).max(64), points: number(500, 5000) }),
      response: answers(200, seriesShape),
    },
  }, async request => {
    const channel = await findChannel(app, request.params.id, request.query.channel)
    return {
      channel, buckets: await app.store.levels(request.params.id, channel.index, request.query.points)
    }
  })

  routes.get('/runs/:id/readings', {
    schema: {
      summary: 'Every reading of a run, channel after channel, as CSV or as one JSON object a line',
      params: idParams,
      querystring: z.strictObject({
        channel: z.string().min(1).max(64).optional(), format: z.enum(['csv', 'lines']).default('csv'),
      }),
    },
  }, async (request, reply) => {
    const run = await findRun(app, request.params.id)
    const { channel: wanted, format } = request.query
    const channels = wanted === undefined
      ? await app.store.channels(run.id)
      : [await findChannel(app, run.id, wanted)]
    return await reply.type(format === 'csv' ? 'text/csv; charset=utf-8' : 'application/x-ndjson')
      .header('content-disposition', attachment(`readings-${run.id}`, format === 'csv' ? 'csv' : 'ndjson'))
      .send(Readable.from(readingsText(app.store, run, channels, format)))
  })
}

function recordRoutes(routes: Routes, app: Application): void {
  const send = (
    record: RunTestRecord | PartTestRecord, format: 'html' | 'csv' | 'json'
  ): [string, string] => {
    if (format === 'html') return ['text/html; charset=utf-8', recordHtml(record)]
    if (format === 'csv') return ['text/csv; charset=utf-8', recordCsv(record)]
    return ['application/json; charset=utf-8', recordJson(record)]
  }
  routes.get('/runs/:id/record', {
    schema: { summary: 'Test record of a run', params: idParams, querystring: recordQuery },
  }, async (request, reply) => {
    const { format, verify } = request.query
    const [type, text] = send(
      await buildRecord(app.store, request.params.id, { verify: verify === 'true' }), format
    )
    return await reply.type(type).send(text)
  })
  routes.get('/parts/:id/record', {
    schema: { summary: 'Test record of a part over its runs', params: idParams, querystring: recordQuery },
  }, async (request, reply) => {
    const { format, verify } = request.query
    const [type, text] = send(
      await buildPartRecord(app.store, request.params.id, { verify: verify === 'true' }), format
    )
    return await reply.type(type).send(text)
  })
}

async function findRun(app: Application, id: string): Promise<RunRecord> {
  const run = await app.store.run(id)
  if (!run) throw new BenchError('NOT_FOUND', `there is no run ${id}`)
  return run
}

/** By name (`P03.current`) or by index. */
async function findChannel(app: Application, runId: string, wanted: string): Promise<Channel> {
  await findRun(app, runId)
  const channels = await app.store.channels(runId)
  const found = channels.find(channel => channel.name === wanted || String(channel.index) === wanted)
  if (!found) throw new BenchError('NOT_FOUND', `run ${runId} has no channel ${wanted}`)
  return found
}

const attachment = (name: string, extension: string): string =>
  `attachment; filename="${name.replace(/[^A-Za-z0-9._-]/g, '_')}.${extension}"`
