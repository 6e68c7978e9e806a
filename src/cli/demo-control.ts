/** The back door of the simulated bench: turning the key at the start, and the hidden truth at the end. */
import { connect } from 'node:net'
import { createInterface } from 'node:readline'
import { BenchError } from '../base/errors.ts'

export interface TruthLine { position: string; part: string; kind: string; truth: string }

/** One request, one answer. `url` is tcp://host:port. */
export function askBench(url: string, request: object): Promise<unknown> {
  const { hostname, port } = new URL(url)
  return new Promise((resolve, reject) => {
    const socket = connect({ host: hostname, port: Number(port) })
    const failed = (error: Error): void => reject(
      new BenchError('HOST', `the simulated bench does not answer: ${error.message}`)
    )
    socket.on('error', failed)
    // The reader of lines passes on what befalls its socket, and throws it where nobody listens.
    createInterface({ input: socket }).on('error', failed).once('line', line => {
      socket.destroy()
      const { ok, error } = JSON.parse(line) as { ok?: unknown; error?: string }
      if (error === undefined) resolve(ok)
      else reject(new BenchError('HOST', error))
    })
    socket.write(`${JSON.stringify(request)}\n`)
  })
}
