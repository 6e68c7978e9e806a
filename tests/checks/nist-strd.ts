/**
 * Reads the NIST/ITL Statistical Reference Datasets kept in tests/checks/data/nist-strd, whole and with their
 * own headers. Certified values stand in the header; data begin at line 61; regression sets put y before x.
 */
import { readFileSync } from 'node:fs'
import { packageFile } from '../../src/base/paths.ts'

const lines = (kind: string, name: string): string[] =>
  readFileSync(packageFile('tests/checks/data/nist-strd', kind, `${name}.dat`), 'utf8').split(/\r?\n/)

const numbersIn = (line: string): number[] => line.trim().split(/\s+/).map(Number)
const rowsOf = (all: string[]): number[][] =>
  all.slice(60).filter(line => line.trim() !== '').map(numbersIn).filter(row => row.every(Number.isFinite))
const after = (all: string[], pattern: RegExp): number => {
  const line = all.slice(0, 60).find(l => pattern.test(l))
  if (line === undefined) throw new Error(`no line matches ${pattern}`)
  return Number(pattern.exec(line)![1])
}

export function readUnivariate(name: string): { values: number[]; mean: number; sd: number; r1: number } {
  const all = lines('univariate', name)
  return {
    values: rowsOf(all).filter(row => row.length === 1).map(row => row[0]!),
    mean: after(all, /ybar:\s+(\S+)/), sd: after(all, / s:\s+(\S+)/), r1: after(all, /r\(1\):\s+(\S+)/),
  }
}

export interface LinearSet {
  rows: number[][]; b: number[]; seB: number[]; residualSd: number; rSquared: number
}

export function readLinear(name: string): LinearSet {
  const all = lines('linear', name)
  const certified = all.slice(0, 60).filter(line => /^\s+B\d\s/.test(line))
    .map(line => numbersIn(line.replace(/B\d/, '')))
  const sdAt = all.findIndex(line => /^\s+Standard Deviation\s+[\d.]/.test(line))
  return {
    rows: rowsOf(all), b: certified.map(c => c[0]!), seB: certified.map(c => c[1]!),
    residualSd: Number(/([\d.E+-]+)\s*$/.exec(all[sdAt]!)![1]),
    rSquared: after(all, /R-Squared\s+([\d.E+-]+)/),
  }
}

export interface NonlinearSet {
  rows: number[][]; start1: number[]; start2: number[]; b: number[]; seB: number[]
  rss: number; residualSd: number
}

export function readNonlinear(name: string): NonlinearSet {
  const all = lines('nonlinear', name)
  const certified = all.slice(0, 60).filter(line => /^\s*b\d\s*=/.test(line))
    .map(line => numbersIn(line.split('=')[1]!))
  const column = (i: number): number[] => certified.map(c => c[i]!)
  return {
    rows: rowsOf(all), start1: column(0), start2: column(1), b: column(2), seB: column(3),
    rss: after(all, /Residual Sum of Squares:\s+(\S+)/),
    residualSd: after(all, /Residual Standard Deviation:\s+(\S+)/),
  }
}

/** Decimal digits of agreement, at most 15; relative, or absolute where the certified value is 0. */
export function digits(got: number, certified: number): number {
  const error = certified === 0 ? Math.abs(got) : Math.abs((got - certified) / certified)
  return error === 0 ? 15 : Math.min(15, Math.max(0, -Math.log10(error)))
}

export const fewestDigits = (got: ArrayLike<number>, certified: readonly number[]): number =>
  Math.min(...certified.map((value, i) => digits(got[i]!, value)))

export interface AnovaSet {
  groups: number[][]; betweenSs: number; withinSs: number; f: number; rSquared: number; residualSd: number
}

/** Groups by treatment; the certified table stands in two lines of (name, dof, SS, MS, F). */
export function readAnova(name: string): AnovaSet {
  const all = lines('anova', name)
  const groups = new Map<number, number[]>()
  for (const [treatment, value] of rowsOf(all) as [number, number][]) {
    groups.set(treatment, [...(groups.get(treatment) ?? []), value])
  }
  const certified = (start: string): number[] => numbersIn(all.find(line => line.startsWith(start))!.replace(/^\D+/, ''))
  const lone = (pattern: RegExp): number => Number(all.slice(0, 60).flatMap(line => pattern.exec(line)?.[1] ?? [])[0])
  return {
    groups: [...groups.values()], betweenSs: certified('Between')[1]!, f: certified('Between')[3]!,
    withinSs: certified('Within')[1]!, rSquared: after(all, /R-Squared\s+(\S+)/),
    residualSd: lone(/Standard Deviation\s+(\d\S+)/),
  }
}
