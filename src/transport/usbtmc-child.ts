/** The child process of one USBTMC link: opens the device, writes messages, and reads only after a query. */
import { spawn } from 'node:child_process'
import { type FileHandle, open } from 'node:fs/promises'
import { constants } from 'node:fs'
import type { FromChild, ToChild } from './usbtmc-protocol.ts'

/**
 * One read gives one whole message if it fits; the driver's own time limit (5 s) ends a read nobody answers.
 */
const readBytesMax = 1 << 20
/**
 * USBTMC_IOCTL_CLEAR of linux/usb/tmc.h: sends INITIATE_CLEAR. Node has no ioctl; perl is in every Debian.
 */
const ioctlClear = 0x5b02
const goneCodes = [
  'ENODEV', 'EIO', 'EBADF', 'ENXIO', 'EPIPE', 'ESHUTDOWN', 'ENOENT', 'EACCES', 'EPERM', 'EBUSY', 'EISDIR',
]

let device: FileHandle | null = null
let devicePath = ''
const buffer = Buffer.allocUnsafe(readBytesMax)

const tell = (message: FromChild): void => { process.send!(message) }

/** One thing after another: the driver serialises calls anyway, and an answer must follow its question. */
let tail: Promise<void> = Promise.resolve()
process.on('message', message => {
  tail = tail.then(() => perform(message as ToChild)).catch((error: NodeJS.ErrnoException) => {
    const code = error.code ?? ''
    tell({ is: 'fault', code, message: error.message, gone: goneCodes.includes(code) })
  })
})
process.on('disconnect', () => process.exit(0))

async function perform(message: ToChild): Promise<void> {
  switch (message.do) {
    case 'open':
      devicePath = message.path
      device = await open(message.path, constants.O_RDWR)
      return tell({ is: 'open' })
    case 'write':
      await device!.write(message.bytes)
      if (message.read) await readAnswer()
      return
    case 'clear':
      await clear().catch(() => {})
      return tell({ is: 'cleared' })
  }
}

/** Reads until a read is not filled to the brim: that is where the device marked the end of its message. */
async function readAnswer(): Promise<void> {
  for (;;) {
    const { bytesRead } = await device!.read(buffer, 0, readBytesMax, null)
    if (bytesRead > 0) tell({ is: 'bytes', bytes: Uint8Array.from(buffer.subarray(0, bytesRead)) })
    if (bytesRead < readBytesMax) return
  }
}

function clear(): Promise<void> {
  const script = `open(my $f, '+<', $ARGV[0]) or exit 1; ioctl($f, ${ioctlClear}, 0) or exit 2;`
  return new Promise((resolve, reject) => {
    spawn('perl', ['-e', script, devicePath], { stdio: 'ignore' })
      .once('error', reject)
      .once('exit', code => code === 0 ? resolve() : reject(new Error(`device clear failed (${code})`)))
  })
}
