/** Words that mean different things to different people: refused, with the reason and the way out. */

interface Ambiguous { readonly pattern: RegExp; readonly expected: string }

export const ambiguous: readonly Ambiguous[] = [
  {
    pattern: /(?:peak )?music(?:al)?(?: power)?(?: output)?|dynamic(?: power)?(?: output)?|IHF(?: power)?/iy,
    expected: 'power of a sine that lasts; this power is of short bursts, and of no agreed length: '
      + 'write what the unit gives for as long as it is asked',
  },
  {
    pattern: /P\.?M\.?P\.?O\.?|instantaneous(?: peak)?(?: power)?|program(?:me)? power/iy,
    expected: 'power of a sine that lasts; there is no agreed way to measure this one: '
      + 'write what the unit gives for as long as it is asked',
  },
  {
    pattern: /peak[- ]to[- ]peak|p-p|Vp-?p|Wpk|Vpk|peak(?: (?:power|output|watts|volts))*/iy,
    expected: 'root mean square, not a peak; of a sine half the watts, 0.707 of the peak volts, '
      + '0.354 of those from peak to peak',
  },
  {
    pattern: /total (?:output )?power|total output|(?:in )?total(?! harmonic| inter)/iy,
    expected: 'watts of each channel; of a total nobody says which channel gives what: write 2 x 25 W',
  },
  {
    pattern: /dBm|dBr|dBFS/iy,
    expected: 'dBu, dBV or volts; this decibel leaves open what it is against',
  },
  {
    pattern: new RegExp(String.raw`typ(?:ical(?:ly)?|\.|(?![a-z]))|nom(?:inal(?:ly)?|\.|(?![a-z]))`
      + String.raw`|approx(?:imately|\.)?|about|circa|ca\.|~|≈`, 'iy'),
    expected: 'a bound; nothing is shown of what is typical: write at least, at most, or ± a tolerance',
  },
  {
    pattern: /equivalent input(?: noise)?|referred to (?:the )?input|input[- ]referred/iy,
    expected: 'noise at the output; what it is at the input follows from the gain: claim that as well',
  },
  {
    pattern: /input (?:is |left )?open|open input/iy,
    expected: 'an input that is shorted or terminated; an open one hears the room',
  },
]
