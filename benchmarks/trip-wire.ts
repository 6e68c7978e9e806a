/**
 * The wire of the trip measurement, in a process of its own: stands between the bench and its bus meter and
 * supply, puts an over-limit reading on the line when told, and takes the time until the supply's output-off
 * arrives. A second port does the same for a bare loop.
 */
import { connect, createServer, type AddressInfo, type Socket } from 'node:net'
import { performance } from 'node:perf_hooks'

export type WireOrder = 'trip' | 'bare'
export interface WireStart { meterUrl: string; supplyUrl: string }
export type WireSays = { ready: { meterUrl: string; supplyUrl: string; barePort: number } } | { us: number }

const overLimit = '+5.9000E+02'
const off = /OUTP OFF/
let tripAsked = false
let tripSentMs: number | null = null
let bareSentMs: number | null = null
let bareSocket: Socket | null = null
const say = (what: WireSays): void => { process.send!(what) }

/** Falsifies the next number that the bus meter was asked for; the stamp is taken before its bytes go. */
function fromMeter(chunk: string, question: string): string {
  if (!tripAsked || !question.includes('MEAS?') || !/\d/.test(chunk)) return chunk
  tripAsked = false
  tripSentMs = performance.now()
  return chunk.replace(/[+-]?\d+\.?\d*(E[+-]?\d+)?/, overLimit)
}

function toSupply(chunk: string): void {
  if (tripSentMs === null || !off.test(chunk)) return
  say({ us: (performance.now() - tripSentMs) * 1000 })
  tripSentMs = null
}

function between(
  url: string, see: (down: string) => void, change: (up: string, asked: string) => string,
): Promise<string> {
  const target = new URL(url)
  return serve(client => {
    const device = connect({ host: target.hostname, port: Number(target.port), noDelay: true })
    let asked = ''
    client.on('data', chunk => { asked = chunk.toString('latin1'); see(asked); device.write(chunk) })
    device.on('data', chunk => client.write(change(chunk.toString('latin1'), asked), 'latin1'))
    for (const [one, other] of [[client, device], [device, client]] as const) {
      one.on('error', () => {})
      one.on('close', () => other.destroy())
    }
  }).then(port => `tcp://127.0.0.1:${port}`)
}

function serve(onClient: (socket: Socket) => void): Promise<number> {
  const server = createServer({ noDelay: true }, onClient)
  return new Promise(resolve => {
    server.listen(0, '127.0.0.1', () => resolve((server.address() as AddressInfo).port))
  })
}

const { meterUrl, supplyUrl } = JSON.parse(process.argv[2]!) as WireStart
const barePort = await serve(socket => {
  bareSocket = socket
  socket.on('data', () => {
    if (bareSentMs !== null) say({ us: (performance.now() - bareSentMs) * 1000 })
    bareSentMs = null
  })
})
process.on('message', order => {
  if (order as WireOrder === 'trip') { tripAsked = true; return }
  bareSentMs = performance.now()
  bareSocket!.write(`${overLimit}\n`)
})
process.on('disconnect', () => process.exit(0))
say({
  ready: {
    meterUrl: await between(meterUrl, () => {}, fromMeter),
    supplyUrl: await between(supplyUrl, toSupply, up => up), barePort,
  },
})
