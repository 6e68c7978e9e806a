export * from '../../nights/acts.ts'
