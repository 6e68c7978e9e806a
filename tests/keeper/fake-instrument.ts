import { createServer, type AddressInfo, type Socket } from 'node:net'

/** A line-based instrument on TCP that keeps what it hears. Queries it does not know are never answered. */
export class FakeInstrument {
  readonly lines: string[] = []
  readonly answers: Record<string, string> = { 'OUTP?': '0', 'OUTP:STAT?': '0', 'MEAS:VOLT?': '1.5' }
  connections = 0
  #sockets = new Set<Socket>()
  #waiting: (() => void)[] = []
  #server = createServer(socket => this.#serve(socket))

  async url(): Promise<string> {
    await new Promise<void>(resolve => this.#server.listen(0, '127.0.0.1', resolve))
    return `tcp://127.0.0.1:${(this.#server.address() as AddressInfo).port}`
  }

  /**
   * Resolves once `holds` does; looked at whenever something happens. The test's own time limit is the
   * deadline.
   */
  async until(holds: () => boolean): Promise<void> {
    while (!holds()) await new Promise<void>(resolve => this.#waiting.push(resolve))
  }
  heard(line: string): Promise<void> { return this.until(() => this.lines.includes(line)) }
  left(): Promise<void> { return this.until(() => this.connections === 0) }

  close(): void {
    for (const socket of this.#sockets) socket.destroy()
    this.#server.close()
  }

  #serve(socket: Socket): void {
    let text = ''
    let ese = '0'
    this.#sockets.add(socket)
    this.connections++
    socket.on('error', () => {})
    socket.on('close', () => { this.#sockets.delete(socket); this.connections--; this.#wake() })
    socket.on('data', chunk => {
      text += chunk.toString('latin1')
      const lines = text.split('\n')
      text = lines.pop()!
      for (const line of lines.filter(one => one !== '')) {
        this.lines.push(line)
        if (line.startsWith('*ESE ')) ese = line.slice(5)
        const answer = line === '*ESE?' ? ese : this.answers[line]
        if (answer !== undefined) socket.write(`${answer}\n`)
      }
      this.#wake()
    })
  }

  #wake(): void { for (const wake of this.#waiting.splice(0)) wake() }
}
