/** The whole bench in virtual time is the same for measurements, tests and the campaign. */
export * from '../nights/virtual-bench.ts'
