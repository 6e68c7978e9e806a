/** Rest without voltage between forming and the closing reading, seconds. */

/** 12 to 48 h (text of a standard on a shop's page, second hand). */
export const restLeastS = 12 * 3600
export const restMostS = 48 * 3600
