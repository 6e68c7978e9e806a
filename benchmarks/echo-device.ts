/** The other end of the link measurements, in a process of its own: answers every line with the same reading. */
import { createServer } from 'node:net'
import { openPty } from '../mocks/pty.ts'

const answer = '+1.23456789E+00\n'
const send = (address: string): void => { process.send!(address) }

/** Answers one line for each line feed; a question here is always whole lines. */
function answerLines(chunk: Uint8Array, write: (text: string) => void): void {
  for (const byte of chunk) if (byte === 10) write(answer)
}

if (process.argv[2] === 'tcp') {
  const server = createServer({ noDelay: true }, socket => {
    socket.on('data', chunk => answerLines(chunk, text => { socket.write(text, 'latin1') }))
    socket.on('error', () => {})
  })
  server.listen(0, '127.0.0.1', () => send(String((server.address() as { port: number }).port)))
} else {
  const pty = await openPty()
  pty.onBytes(chunk => answerLines(chunk, text => pty.write(text)))
  send(pty.path)
}
process.on('disconnect', () => process.exit(0))
