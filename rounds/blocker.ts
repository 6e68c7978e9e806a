/** Loaded into a daemon before its own code (`node --import`): SIGUSR2 keeps its event loop busy. */
import { isMainThread } from 'node:worker_threads'

/** Longer than the heartbeat limit, so that the keeper must act meanwhile. */
const busyMs = 3000

if (isMainThread) {
  process.on('SIGUSR2', () => {
    const untilMs = performance.now() + busyMs
    while (performance.now() < untilMs) { /* nothing else runs */ }
  })
}
