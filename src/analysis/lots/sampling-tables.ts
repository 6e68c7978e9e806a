/**
 * Single sampling tables of MIL-STD-105E (10 May 1989, public release, cancelled 27 February 1995): tables I,
 * II-A, II-B, II-C. Built from the diagonal structure of the tables and compared cell by cell with
 * another public copy; the standard's text was not read.
 */

/** Acceptable quality levels: per cent nonconforming, or nonconformities per hundred units. */
export const aqlColumns = [
  '0.010', '0.015', '0.025', '0.040', '0.065', '0.10', '0.15', '0.25', '0.40', '0.65', '1.0', '1.5',
  '2.5', '4.0', '6.5', '10', '15', '25', '40', '65', '100', '150', '250', '400', '650', '1000',
] as const

export type Aql = typeof aqlColumns[number]

export const inspectionLevels = ['S-1', 'S-2', 'S-3', 'S-4', 'I', 'II', 'III'] as const
export type InspectionLevel = typeof inspectionLevels[number]

/** Largest lot of each row of table I (none: any larger), and its letters by inspection level. */
export const codeLetterRows: readonly [largest: number, letters: string][] = [
  [8, 'AAAAAAB'],
  [15, 'AAAAABC'],
  [25, 'AABBBCD'],
  [50, 'ABBCCDE'],
  [90, 'BBCCCEF'],
  [150, 'BBCDDFG'],
  [280, 'BCDEEGH'],
  [500, 'BCDEFHJ'],
  [1200, 'CCEFGJK'],
  [3200, 'CDEGHKL'],
  [10000, 'CDFGJLM'],
  [35000, 'CDFHKMN'],
  [150000, 'DEGJLNP'],
  [500000, 'DEGJMPQ'],
  [Infinity, 'DEHKNQR'],
]

/**
 * One row a code letter: its sample size, then a cell a quality level. A number is the acceptance number, the
 * rejection number one more unless given after a stroke; v and ^ send down and up the column to the first
 * plan.
 */
export type SamplingTable = readonly (readonly [letter: string, n: number, cells: string])[]

export const normalTable: SamplingTable = [
  ['A', 2, 'v v v v v v v v v v v v v v 0 v v 1 2 3 5 7 10 14 21 30'],
  ['B', 3, 'v v v v v v v v v v v v v 0 ^ v 1 2 3 5 7 10 14 21 30 44'],
  ['C', 5, 'v v v v v v v v v v v v 0 ^ v 1 2 3 5 7 10 14 21 30 44 ^'],
  ['D', 8, 'v v v v v v v v v v v 0 ^ v 1 2 3 5 7 10 14 21 30 44 ^ ^'],
  ['E', 13, 'v v v v v v v v v v 0 ^ v 1 2 3 5 7 10 14 21 30 44 ^ ^ ^'],
  ['F', 20, 'v v v v v v v v v 0 ^ v 1 2 3 5 7 10 14 21 ^ ^ ^ ^ ^ ^'],
  ['G', 32, 'v v v v v v v v 0 ^ v 1 2 3 5 7 10 14 21 ^ ^ ^ ^ ^ ^ ^'],
  ['H', 50, 'v v v v v v v 0 ^ v 1 2 3 5 7 10 14 21 ^ ^ ^ ^ ^ ^ ^ ^'],
  ['J', 80, 'v v v v v v 0 ^ v 1 2 3 5 7 10 14 21 ^ ^ ^ ^ ^ ^ ^ ^ ^'],
  ['K', 125, 'v v v v v 0 ^ v 1 2 3 5 7 10 14 21 ^ ^ ^ ^ ^ ^ ^ ^ ^ ^'],
  ['L', 200, 'v v v v 0 ^ v 1 2 3 5 7 10 14 21 ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^'],
  ['M', 315, 'v v v 0 ^ v 1 2 3 5 7 10 14 21 ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^'],
  ['N', 500, 'v v 0 ^ v 1 2 3 5 7 10 14 21 ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^'],
  ['P', 800, 'v 0 ^ v 1 2 3 5 7 10 14 21 ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^'],
  ['Q', 1250, '0 ^ v 1 2 3 5 7 10 14 21 ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^'],
  ['R', 2000, '^ ^ 1 2 3 5 7 10 14 21 ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^'],
]

export const tightenedTable: SamplingTable = [
  ['A', 2, 'v v v v v v v v v v v v v v v v v v 1 2 3 5 8 12 18 27'],
  ['B', 3, 'v v v v v v v v v v v v v v 0 v v 1 2 3 5 8 12 18 27 41'],
  ['C', 5, 'v v v v v v v v v v v v v 0 v v 1 2 3 5 8 12 18 27 41 ^'],
  ['D', 8, 'v v v v v v v v v v v v 0 v v 1 2 3 5 8 12 18 27 41 ^ ^'],
  ['E', 13, 'v v v v v v v v v v v 0 v v 1 2 3 5 8 12 18 27 41 ^ ^ ^'],
  ['F', 20, 'v v v v v v v v v v 0 v v 1 2 3 5 8 12 18 ^ ^ ^ ^ ^ ^'],
  ['G', 32, 'v v v v v v v v v 0 v v 1 2 3 5 8 12 18 ^ ^ ^ ^ ^ ^ ^'],
  ['H', 50, 'v v v v v v v v 0 v v 1 2 3 5 8 12 18 ^ ^ ^ ^ ^ ^ ^ ^'],
  ['J', 80, 'v v v v v v v 0 v v 1 2 3 5 8 12 18 ^ ^ ^ ^ ^ ^ ^ ^ ^'],
  ['K', 125, 'v v v v v v 0 v v 1 2 3 5 8 12 18 ^ ^ ^ ^ ^ ^ ^ ^ ^ ^'],
  ['L', 200, 'v v v v v 0 v v 1 2 3 5 8 12 18 ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^'],
  ['M', 315, 'v v v v 0 v v 1 2 3 5 8 12 18 ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^'],
  ['N', 500, 'v v v 0 v v 1 2 3 5 8 12 18 ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^'],
  ['P', 800, 'v v 0 v v 1 2 3 5 8 12 18 ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^'],
  ['Q', 1250, 'v 0 v v 1 2 3 5 8 12 18 ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^'],
  ['R', 2000, '0 ^ v 1 2 3 5 8 12 18 ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^'],
  ['S', 3150, '^ ^ 1 ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^'],
]

export const reducedTable: SamplingTable = [
  ['A', 2, 'v v v v v v v v v v v v v v 0 v v 1 2 3 5 7 10 14 21 30'],
  ['B', 2, 'v v v v v v v v v v v v v 0 ^ v 0/2 1/3 2/4 3/5 5 7 10 14 21 30'],
  ['C', 2, 'v v v v v v v v v v v v 0 ^ v 0/2 1/3 1/4 2/5 3/6 5/8 7/10 10/13 14/17 21/24 ^'],
  ['D', 3, 'v v v v v v v v v v v 0 ^ v 0/2 1/3 1/4 2/5 3/6 5/8 7/10 10/13 14/17 21/24 ^ ^'],
  ['E', 5, 'v v v v v v v v v v 0 ^ v 0/2 1/3 1/4 2/5 3/6 5/8 7/10 10/13 14/17 21/24 ^ ^ ^'],
  ['F', 8, 'v v v v v v v v v 0 ^ v 0/2 1/3 1/4 2/5 3/6 5/8 7/10 10/13 ^ ^ ^ ^ ^ ^'],
  ['G', 13, 'v v v v v v v v 0 ^ v 0/2 1/3 1/4 2/5 3/6 5/8 7/10 10/13 ^ ^ ^ ^ ^ ^ ^'],
  ['H', 20, 'v v v v v v v 0 ^ v 0/2 1/3 1/4 2/5 3/6 5/8 7/10 10/13 ^ ^ ^ ^ ^ ^ ^ ^'],
  ['J', 32, 'v v v v v v 0 ^ v 0/2 1/3 1/4 2/5 3/6 5/8 7/10 10/13 ^ ^ ^ ^ ^ ^ ^ ^ ^'],
  ['K', 50, 'v v v v v 0 ^ v 0/2 1/3 1/4 2/5 3/6 5/8 7/10 10/13 ^ ^ ^ ^ ^ ^ ^ ^ ^ ^'],
  ['L', 80, 'v v v v 0 ^ v 0/2 1/3 1/4 2/5 3/6 5/8 7/10 10/13 ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^'],
  ['M', 125, 'v v v 0 ^ v 0/2 1/3 1/4 2/5 3/6 5/8 7/10 10/13 ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^'],
  ['N', 200, 'v v 0 ^ v 0/2 1/3 1/4 2/5 3/6 5/8 7/10 10/13 ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^'],
  ['P', 315, 'v 0 ^ v 0/2 1/3 1/4 2/5 3/6 5/8 7/10 10/13 ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^'],
  ['Q', 500, '0 ^ v 0/2 1/3 1/4 2/5 3/6 5/8 7/10 10/13 ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^'],
  ['R', 800, '^ ^ 0/2 1/3 1/4 2/5 3/6 5/8 7/10 10/13 ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^ ^'],
]
