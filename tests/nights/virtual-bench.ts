/** The whole bench in virtual time is the same for tests, measurements and the campaign. */
export * from '../../nights/virtual-bench.ts'
