/** Where parts sit, as lists say it in words. */

/** The two places that rules about the mains go by. */
export const mainsPlaces = ['across-mains', 'mains-to-earth'] as const

const acrossMains =
  /\b(?:across|between) (?:the )?(?:mains|line)\b|\b(?:live|line|l) ?(?:to|-|\/) ?(?:neutral|n)\b/
const toEarth =
  /\b(?:mains|line|live|neutral|l|n) ?(?:to|-|\/) ?(?:protective )?(?:earth|ground|chassis|pe|e)\b/

/** `across-mains`, `mains-to-earth`, or the words as they stand, small and with hyphens. */
export function placeOf(text: string): string {
  const plain = text.trim().toLowerCase().replace(/\s+/g, ' ')
  const spoken = plain.replace(/-/g, ' ')
  if (plain === 'across-mains' || acrossMains.test(plain) || acrossMains.test(spoken)) return 'across-mains'
  if (plain === 'mains-to-earth' || toEarth.test(plain) || toEarth.test(spoken)) return 'mains-to-earth'
  return plain.replace(/[^a-z0-9]+/g, '-').replace(/^-|-$/g, '')
}
