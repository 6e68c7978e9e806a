export * from '../../nights/invariants.ts'
