/** The frame of every page that is written: one file, no scripts, nothing fetched. */
import { html, type Markup } from './markup.ts'
import { recordCss } from './style.ts'

/** A whole page that needs nothing else. */
export function page(title: string, body: Markup): string {
  return html`<!doctype html>
<html lang="en"><head><meta charset="utf-8">
<meta name="viewport" content="width=device-width,initial-scale=1">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'">
<title>${title}</title>${styleSheet}</head>
<body><h1>${title}</h1>
${body}
</body></html>
`.toString()
}

const styleSheet = styleOf(recordCss)
/** The sheet holds none of the characters that `html` would write out. */
function styleOf(css: string): Markup { return html`<style>${css}</style>` }
