/** The jig of the measurements and of the tests of methods is one. */
export * from '../../benchmarks/physics-jig.ts'
