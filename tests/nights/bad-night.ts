import { vi } from 'vitest'

export * from '../../nights/bad-night.ts'

// A busy machine may take its time over a night, which has a limit of its own.
vi.setConfig({ testTimeout: 180_000 })
