/** The part of jstat used here; the library ships no types. */
declare module 'jstat' {
  interface JStat {
    normal: { cdf(x: number, mean: number, sd: number): number
      inv(p: number, mean: number, sd: number): number }
    studentt: { cdf(x: number, dof: number): number; pdf(x: number, dof: number): number
      inv(p: number, dof: number): number }
    chisquare: { cdf(x: number, dof: number): number }
    gammaln(x: number): number
    ibeta(x: number, a: number, b: number): number
  }
  const jStat: JStat
  export default jStat
}
