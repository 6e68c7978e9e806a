import type { Migration } from './index.ts'

/**
 * Down-sampled levels. A bucket of level n covers 16^n readings of one channel; `upto` is the place, in the
 * stream one level finer, of the last item in it. Keys work like those of readings. Derived: rebuilt from the
 * readings.
 */
export const levels: Migration = {
  version: 2,
  name: 'levels',
  rebuildsLevels: true,
  sql: `
CREATE TABLE bucket_slabs (
  id INTEGER PRIMARY KEY, run INTEGER NOT NULL REFERENCES runs, level INTEGER NOT NULL,
  number INTEGER NOT NULL,
  UNIQUE (run, level, number)
) STRICT;
CREATE TABLE buckets (
  id INTEGER PRIMARY KEY, at_ms REAL NOT NULL, low REAL, sum REAL, high REAL, bad INTEGER NOT NULL,
  upto INTEGER NOT NULL
) STRICT;`,
}
