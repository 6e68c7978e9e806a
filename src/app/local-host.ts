/** `host-check` on the computer that this process runs on, with the ports of a bench file or all of them. */
import { RealClock } from '../base/clock.ts'
import { benchFile } from '../schema/bench.ts'
import { loadFile } from '../schema/read-file.ts'
import { parseLinkUrl } from '../transport/open.ts'
import { checkHost, type HostFinding } from './host-check.ts'
import { thisHost } from './host-view.ts'
import { localPorts } from './ports.ts'

/** Throws as reading the bench file does, and LINK_URL for a link in it that is none. */
export async function localHost(benchPath: string | undefined, dataFolder: string): Promise<HostFinding[]> {
  const devices = benchPath === undefined ? await devicesHere(dataFolder) : devicesOf(benchPath)
  return await checkHost(thisHost(), { dataFolder, devices })
}

async function devicesHere(dataFolder: string): Promise<Map<string, string>> {
  const ports = await localPorts(undefined, dataFolder, new RealClock()).list()
  return new Map(ports.map(({ path }) => [path, path]))
}

function devicesOf(benchPath: string): Map<string, string> {
  const devices = new Map<string, string>()
  for (const [name, { url }] of Object.entries(loadFile(benchPath, benchFile, 'a bench file').instruments)) {
    const address = parseLinkUrl(url)
    if (address.kind === 'serial') devices.set(name, address.settings.path)
    if (address.kind === 'usbtmc') devices.set(name, address.path)
  }
  return devices
}
