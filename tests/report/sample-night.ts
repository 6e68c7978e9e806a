/** The invented night is the same for tests and measurements. */
export * from '../../benchmarks/sample-night.ts'
