/** The bench file: the instruments and fixtures on one table. */
import { z } from 'zod'
import { calibrated } from './calibration.ts'
import { roleNames } from './roles.ts'
import { stand } from './stand.ts'

const name = z.string().regex(/^[A-Za-z][A-Za-z0-9-]{0,31}$/,
  'a letter, then letters, digits or -, 32 at most')
const positive = z.number().positive()
const relay = z.number().int().min(0).max(9999)

export const instrumentEntry = z.strictObject({
  profile: z.string().describe('File name of an instrument profile, without folder and extension'),
  url: z.string().describe('serial:/dev/…?baud=9600 · tcp://host:port · usbtmc:/dev/usbtmcN'),
  identity: z.string().min(1).describe('The *IDN? answer this instrument gave when it was entered'),
  calibrated: calibrated.optional().describe('When, and until when that counts; past due is a warning'),
})

const roleTarget = z.union([
  z.string(),
  z.strictObject({
    instrument: z.string(),
    relay: relay.optional().describe('Which relay or channel of the instrument serves this role'),
  }),
])

export const position = z.strictObject({
  name: z.string().regex(/^[A-Z]{1,3}[0-9]{1,3}$/, 'capitals then digits, like P01'),
  relay: relay.optional().describe('Changeover relay: held = on the bus, released = on its own bleeder'),
  formalRelay: relay.optional().describe('Puts the low resistor across the limiting resistor'),
  bridgeRelay: relay.optional().describe('Connects the bridge; interlocked with the changeover'),
  sense: relay.optional().describe('Scanner channel across the sense resistor'),
  thermometer: relay.optional().describe('Thermometer channel of an insulated sensor on this can'),
})

/** Of the largest rack; no run has more parts. */
export const positionsMost = 480

export const fixture = z.strictObject({
  kind: z.enum(['single', 'rack'])
    .describe('single: one part; without relays it is wired to the bus for good, in attended use'),
  positions: z.array(position).min(1).max(positionsMost),
  limitOhm: positive.describe('Limiting resistor in the positive lead'),
  limitW: positive, limitWorkingV: positive,
  formalOhm: positive.optional().describe('Low resistor for the formal leakage reading'),
  senseOhm: positive, senseClampV: positive, senseTolerance: positive.max(0.1).default(0.001),
  returnToEarthV: z.number().min(0).default(0)
    .describe(
      'Most volts the return end of the sense resistors may have to earth; 0 where it is tied to earth'
    ),
  bleederOhm: positive.optional().describe('Of each position; without it the part bleeds back over the bus'),
  bleederW: positive.optional(),
  watchOhm: positive.optional().describe('Resistance put in the bleeder path while recovery is watched'),
  busBleederOhm: positive, busBleederW: positive,
  diodeV: z.number().min(0).max(2).default(0.7),
  leakageOhmMin: positive.default(1e11)
    .describe('Insulation of one empty position that bench-check must find'),
  ratedV: positive.describe('Working voltage of relays, wiring and holders to each other and to earth'),
  relayMakeA: positive.optional(), relayBreakV: positive.optional(), relayBreakA: positive.optional(),
  dummyOhm: positive.optional().describe('A known high resistance on the last position for bench-check'),
})

/** No bus is read oftener. */
export const busMsLeast = 20

export const cadence = z.strictObject({
  busMs: z.number().int().min(busMsLeast).default(100),
  busQuietMs: z.number().int().min(busMsLeast).default(1000),
  sweepMs: z.number().int().min(100).default(2500), sweepQuietMs: z.number().int().min(100).default(10_000),
  temperatureMs: z.number().int().min(100).default(10_000),
})

const leadNames = ['bridge', 'ohm-meter', 'source', 'second-source'] as const
export type LeadName = (typeof leadNames)[number]
const lead = z.array(relay).min(2).max(4).describe('Relays that join this lead with terminal 1, 2, 3 and 4')

/** Above touch-safe a jig has a cover that the program locks. */
const cover = z.strictObject({
  lockRelay: relay
    .describe('Of the board of the jig: its coil frees the cover; without power it stays locked'),
  bleedRelay: relay.describe(
    'Of the same board: its coil takes the bleeder off terminals 1 and 2; without power it lies across them'),
  bleederOhm: positive.describe('What empties the part while nothing is measured, Ω'),
})

/** Where parts are laid that the scanner leads to terminals 1 and 2 one by one. */
const tray = z.strictObject({
  join: z.array(relay).length(2)
    .describe('Of the board of the jig: lead the common line of the scanner to terminal 1, and to 2'),
  positions: z.array(z.strictObject({
    name: z.string().regex(/^[A-Z]{1,3}[0-9]{1,3}$/, 'capitals then digits, like T01'),
    channel: relay.describe('Of the scanner'),
  })).min(4).max(96).describe('Four at least: each is held against the others'),
})

export const jig = z.strictObject({
  terminals: z.union([z.literal(2), z.literal(3), z.literal(4)]).default(2),
  leads: z.partialRecord(z.enum(leadNames), z.strictObject({ high: lead, low: lead })).optional()
    .describe('By relays of the role `jig`. Left out: one instrument is wired to terminals 1 and 2 for good'),
  joint: z.strictObject({ high: lead, low: lead }).optional()
    .describe('Relays that join the two ends of a bare wire with the terminals: for windings in line'),
  thermometer: relay.optional().describe('Thermometer channel of a sensor beside the jig'),
  voltageMaxV: positive.max(1000).default(30)
    .describe('Most volts that may come to the terminals; above 60 V only behind a `cover`'),
  currentMaxA: positive.max(1).default(0.1).describe('Most current that may come to the terminals'),
  cover: cover.optional().describe('A cover over the jig, locked while more than touch-safe may stand there'),
  tray: tray.optional().describe('Numbered positions behind the role `scanner`, below touch-safe'),
})

export const benchFile = z.strictObject({
  bench: name,
  description: z.string().default(''),
  instruments: z.record(name, instrumentEntry),
  roles: z.partialRecord(z.enum(roleNames), roleTarget),
  fixture,
  jig: jig.optional().describe('Terminals for one part at a time: for screening'),
  stand: stand.optional().describe('Where a whole unit stands: its mains, probes, loads and sensors'),
  limits: z.strictObject({
    voltageMaxV: positive, currentMaxA: positive,
    partEnergyMaxJ: positive, rackEnergyMaxJ: positive,
    touchSafeV: positive.max(60).default(60).describe('Common practice; 60 V DC at most'),
    touchSafeJ: positive.max(20).default(0.35).describe('Stored energy below which touch is taken as safe'),
    presenceS: positive.max(3600).default(600)
      .describe('Attended use: longest time without somebody showing presence; 10 min (common practice)'),
    ambientMinC: z.number().default(15), ambientMaxC: z.number().default(35),
  }),
  cadence: cadence.prefault({}),
  use: z.array(z.enum(['unattended', 'attended', 'touch-safe'])).min(1),
  simulated: z.strictObject({ timeUrl: z.string() }).optional()
    .describe('Only for a bench that is simulated as a whole: where its time is kept'),
})

export type BenchFile = z.infer<typeof benchFile>
export type FixtureSpec = z.infer<typeof fixture>
export type JigSpec = z.infer<typeof jig>
export type CoverSpec = z.infer<typeof cover>
export type TraySpec = z.infer<typeof tray>
export type PositionSpec = z.infer<typeof position>
export type Cadence = z.infer<typeof cadence>
export type Use = BenchFile['use'][number]
