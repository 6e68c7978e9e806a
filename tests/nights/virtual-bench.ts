/** The whole bench in virtual time is the same for tests and measurements. */
export * from '../../benchmarks/virtual-bench.ts'
