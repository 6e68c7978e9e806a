/** HTML and SVG that cannot forget to escape: only what `html` itself made goes in as markup. */

/** Markup made by `html`. Nothing else is one: its constructor is not exported. */
class Markup {
  readonly #text: string
  constructor(text: string) { this.#text = text }
  toString(): string { return this.#text }
}
export type { Markup }
export type Content = Markup | string | number | null | undefined | false | readonly Content[]

/**
 * `html\`<td>${name}</td>\``: every value is escaped, unless it is markup of ours. Null and false give
 * nothing.
 */
export function html(fixed: TemplateStringsArray, ...values: Content[]): Markup {
  let text = fixed[0]!
  values.forEach((value, i) => { text += render(value) + fixed[i + 1]! })
  return new Markup(text)
}

/**
 * Text with the five characters that mean something in HTML written out; control characters, and those that
 * turn the direction of what follows, become a blank.
 */
export function escapeHtml(text: string): string {
  return text.replace(
    /[\u0000-\u0008\u000b\u000c\u000e-\u001f\u007f-\u009f\u202a-\u202e\u2066-\u2069]/g, ' '
  ).replace(/[&<>"']/g, c => entities[c]!)
}

const entities: Record<string, string> = {
  '&': '&amp;', '<': '&lt;', '>': '&gt;', '"': '&quot;', "'": '&#39;'
}

function render(value: Content): string {
  if (value === null || value === undefined || value === false) return ''
  if (value instanceof Markup) return value.toString()
  if (Array.isArray(value)) return (value as readonly Content[]).map(render).join('')
  return escapeHtml(String(value as string | number))
}
