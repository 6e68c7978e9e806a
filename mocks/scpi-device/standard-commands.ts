/** The commands every SCPI instrument has: IEEE 488.2 common commands, SYSTem and STATus. */
import type { Command } from './command-tree.ts'
import type { ScpiDevice } from './device.ts'
import { refuse, type ConditionRegister } from './status.ts'

/** Commands of the device's own table come later and replace these. */
export function standardCommands(device: ScpiDevice): Command[] {
  return [...commonCommands(device), ...systemCommands(device), ...statusCommands(device)]
}

const byte = [{ kind: 'number' }] as const

function commonCommands(device: ScpiDevice): Command[] {
  const mask = (value: unknown): number => {
    const bits = Math.round(Number(value))
    return bits >= 0 && bits <= 255 ? bits : refuse(-222)
  }
  const { status } = device
  return [
    {
      pattern: '*IDN?',
      run: () => String(device.faults.holds('swapped-identity')?.value ?? device.options.identity),
    },
    { pattern: '*RST', run: () => device.options.onReset() },
    { pattern: '*CLS', run: () => status.clear() },
    { pattern: '*ESE', parameters: byte, run: ([bits]) => { status.ese = mask(bits) } },
    { pattern: '*ESE?', run: () => String(status.ese) },
    { pattern: '*SRE', parameters: byte, run: ([bits]) => { status.sre = mask(bits) } },
    { pattern: '*SRE?', run: () => String(status.sre) },
    { pattern: '*ESR?', run: () => String(status.readEsr()) },
    { pattern: '*STB?', run: () => String(status.statusByte) },
    { pattern: '*OPC', run: () => { status.esr |= 1 } },
    { pattern: '*OPC?', run: () => '1' },
    { pattern: '*WAI', run: () => {} },
    { pattern: '*TST?', run: () => ({ waitMs: 400, finish: () => '0' }) },
  ]
}

function systemCommands(device: ScpiDevice): Command[] {
  const { errorQueue = 'plain', remoteFirst } = device.options
  const plus = errorQueue === 'plus' ? '+' : ''
  const commands: Command[] = [{ pattern: 'SYSTem:VERSion?', run: () => '1999.0' }]
  if (errorQueue !== 'none') {
    const noError = `${plus}0,"No error"`
    commands.push({ pattern: 'SYSTem:ERRor[:NEXT]?', run: () => device.status.errors.take() ?? noError })
  }
  if (remoteFirst) {
    commands.push({ pattern: 'SYSTem:REMote', run: () => { device.remote = true } })
    commands.push({ pattern: 'SYSTem:LOCal', run: () => { device.remote = false } })
  }
  return commands
}

function statusCommands(device: ScpiDevice): Command[] {
  const { operation, questionable } = device.status
  return [
    ...registerCommands('OPERation', operation), ...registerCommands('QUEStionable', questionable),
    { pattern: 'STATus:PRESet', run: () => { operation.enable = 0; questionable.enable = 0 } },
  ]
}

function registerCommands(name: string, register: ConditionRegister): Command[] {
  const enable = ([bits]: readonly unknown[]): void => {
    const mask = Math.round(Number(bits))
    if (mask < 0 || mask > 32767) refuse(-222)
    register.enable = mask
  }
  return [
    { pattern: `STATus:${name}[:EVENt]?`, run: () => String(register.readEvent()) },
    { pattern: `STATus:${name}:CONDition?`, run: () => String(register.condition) },
    { pattern: `STATus:${name}:ENABle`, parameters: byte, run: enable },
    { pattern: `STATus:${name}:ENABle?`, run: () => String(register.enable) },
  ]
}
