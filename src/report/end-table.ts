/** What a person needs first: how each part stood, and that the record is no proof of now. */
import { formatWall, formatWithU } from '../base/format.ts'
import { html, type Markup } from './markup.ts'
import type { RecordPart, RunTestRecord } from './record.ts'
import { isAtJig } from './setup.ts'
import { chargedAtEnd } from './touch-lines.ts'

export function endTable({ run, parts, events }: RunTestRecord): Markup {
  if (isAtJig(run)) return atJig(events)
  const open = parts.filter(({ end }) => !end.measured)
  const names = open.map(({ position }) => position).join(' ')
  return html`<h2>How the parts stood ${run.endedWallMs === null ? 'when last looked at' : 'at the end'}</h2>
${open.length > 0 && html`<p class="verdict"><span class="warn">NOT MEASURED DEAD: ${names}.</span>
Prove them dead by hand before you touch anything.</p>`}
<p>This is what was measured then, not what stands there now. Prove each part dead before touching it.</p>
<div class="wide"><table>
<tr><th>Position</th><th>Part</th><th>Touch</th><th>Said at</th><th class="num">Last volts read</th>
<th class="num">Came back under watch</th></tr>
${parts.map(row)}
</table></div>`
}

/** Parts come and go at a jig: what matters is whether the last that was charged was seen to be empty. */
function atJig(events: RunTestRecord['events']): Markup {
  const charged = chargedAtEnd(events)
  return html`<h2>What lay in the jig</h2>
${charged ? html`<p class="verdict"><span class="warn">NOT SAFE TO TOUCH: ${charged.text}.</span></p>`
  : html`<p>Nothing that was charged there was left charged. What lies in it now is another matter.</p>`}`
}

function row({ position, part, end }: RecordPart): Markup {
  const volts = end.volts
  return html`<tr><td>${position}</td><td class="tight">${part}</td>
<td><span class="${end.measured ? '' : 'warn'}">${end.words}</span></td>
<td class="tight">${end.wallMs === null ? '–' : formatWall(end.wallMs)}</td>
<td class="num">${volts === null ? 'not known'
  : formatWithU(volts.value, volts.expandedU, 'V')}${volts && html`<br>
<span class="quiet">${formatWall(volts.wallMs)}</span>`}</td>
<td class="num">${end.recoveredV === null ? 'not watched'
  : `${end.recoveredV.toFixed(1)} V at most`}</td></tr>`
}
