import { once } from 'node:events'
import { createServer, type AddressInfo } from 'node:net'
import { afterEach, describe, expect, it } from 'vitest'
import { askBench } from '../../src/cli/demo-control.ts'
import { askControl } from '../../rounds/processes.ts'

const server = createServer(socket => { socket.once('data', () => socket.resetAndDestroy()); socket.on('error', () => {}) })
afterEach(() => { server.close() })

describe('a simulated bench that resets the connection', () => {
  it('is an error of the one request, in the demo and in rounds, and ends no process', async () => {
    server.listen(0, '127.0.0.1')
    await once(server, 'listening')
    const url = `tcp://127.0.0.1:${(server.address() as AddressInfo).port}`
    await expect(askBench(url, { do: 'truth' })).rejects.toMatchObject({ code: 'HOST' })
    await expect(askControl(url, { do: 'truth' })).rejects.toThrow(/ECONNRESET|went away/)
  })
})
