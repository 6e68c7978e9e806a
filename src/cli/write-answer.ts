/** What the daemon answered, written as a page, a table or JSON, by the ending of the file. */
import { extname } from 'node:path'
import { BenchError } from '../base/errors.ts'
import { print, printJson, type CliContext, type CommonOptions } from './context.ts'

/** The rest is JSON. */
export interface Written<T> { readonly html: (answer: T) => string; readonly csv: (answer: T) => string }

/** Writes and says so, but where standard output is JSON. Rejects USAGE for another ending. */
export async function writeAnswer<T>(
  context: CliContext, file: string, answer: T, written: Written<T>, { json }: CommonOptions,
): Promise<void> {
  const bytes = await context.writeFile(file, [textOf(file, answer, written)])
  if (!json) print(context.out, `Wrote ${file}, ${bytes} bytes.`)
}

function textOf<T>(file: string, answer: T, { html, csv }: Written<T>): string {
  switch (extname(file).toLowerCase()) {
    case '.html': case '.htm': return html(answer)
    case '.csv': return csv(answer)
    case '.json': return `${JSON.stringify(answer, null, 2)}\n`
    default: throw new BenchError(
      'USAGE', 'this kind of file is not written', { expected: '.html, .csv or .json', got: file })
  }
}

/**
 * Writes what the daemon gives as a text in one of these formats, by the ending of the file, and says so.
 * Rejects USAGE for another ending, before anything is asked.
 */
export async function writeAsked<F extends 'html' | 'csv' | 'json'>(
  context: CliContext, file: string, formats: readonly F[], ask: (format: F) => Promise<string>,
  { json }: CommonOptions,
): Promise<void> {
  const ending = extname(file).toLowerCase().slice(1).replace(/^htm$/, 'html')
  const format = formats.find(one => one === ending)
  if (format === undefined) {
    const endings = formats.map(one => `.${one}`)
    throw new BenchError('USAGE', 'this kind of file is not written', {
      expected: `${endings.slice(0, -1).join(', ')} or ${endings.at(-1)}`, got: file,
    })
  }
  const bytes = await context.writeFile(file, [await ask(format)])
  if (json) printJson(context.out, { file, bytes })
  else print(context.out, `Wrote ${file}, ${bytes} bytes.`)
}
