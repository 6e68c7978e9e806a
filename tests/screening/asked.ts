/** What is asked of simulated parts is the same for tests and measurements. */
export * from '../../benchmarks/asked-parts.ts'
