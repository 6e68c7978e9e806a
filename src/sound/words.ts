/** Names that commands and pages use of what is analysed elsewhere. */
export { equalisationNames, type EqualisationName } from '../analysis/audio/equalisation.ts'
export { weightingTitles } from '../analysis/audio/weighting.ts'
export { windowNames, type WindowName } from '../analysis/audio/windows.ts'
