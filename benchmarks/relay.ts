/** Passes bytes between a pipe and a TCP port, with no logic: what one more process in the way costs by itself. */
import { connect, Socket } from 'node:net'

const near = new Socket({ fd: 3 })
const far = connect({ host: '127.0.0.1', port: Number(process.argv[2]), noDelay: true })
near.on('data', chunk => { far.write(chunk) })
far.on('data', chunk => { near.write(chunk) })
for (const end of [near, far]) {
  end.on('error', () => process.exit(1))
  end.on('close', () => process.exit(0))
}
