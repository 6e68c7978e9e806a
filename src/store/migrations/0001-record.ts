import type { Migration } from './index.ts'

/** Runs, their links (events, batches of readings, results, states) and the readings themselves. */
export const record: Migration = {
  version: 1,
  name: 'record',
  sql: `
CREATE TABLE runs (
  number INTEGER PRIMARY KEY, id TEXT NOT NULL UNIQUE, sequence TEXT NOT NULL, bench TEXT NOT NULL,
  state TEXT NOT NULL, started_wall_ms REAL NOT NULL, ended_wall_ms REAL, person TEXT NOT NULL,
  use TEXT NOT NULL, software TEXT NOT NULL, setup TEXT NOT NULL, hash BLOB NOT NULL
) STRICT;
CREATE INDEX runs_by_start ON runs (started_wall_ms);

CREATE TABLE channels (
  run INTEGER NOT NULL REFERENCES runs, channel INTEGER NOT NULL, name TEXT NOT NULL, quantity TEXT NOT NULL,
  unit TEXT NOT NULL, position TEXT, PRIMARY KEY (run, channel)
) STRICT, WITHOUT ROWID;

-- Every link of a run's chain has one seq, dense from 1 across these four tables.
CREATE TABLE events (
  run INTEGER NOT NULL REFERENCES runs, seq INTEGER NOT NULL, kind TEXT NOT NULL, severity TEXT NOT NULL,
  at_ms REAL NOT NULL, wall_ms REAL NOT NULL, position TEXT, text TEXT NOT NULL, data TEXT,
  hash BLOB NOT NULL, PRIMARY KEY (run, seq)
) STRICT, WITHOUT ROWID;
CREATE TABLE batches (
  run INTEGER NOT NULL REFERENCES runs, seq INTEGER NOT NULL, first INTEGER NOT NULL, count INTEGER NOT NULL,
  hash BLOB NOT NULL, PRIMARY KEY (run, seq)
) STRICT, WITHOUT ROWID;
CREATE TABLE results (
  run INTEGER NOT NULL REFERENCES runs, seq INTEGER NOT NULL, position TEXT NOT NULL, part TEXT NOT NULL,
  body TEXT NOT NULL, hash BLOB NOT NULL, PRIMARY KEY (run, seq)
) STRICT, WITHOUT ROWID;
CREATE INDEX results_by_part ON results (part);
CREATE TABLE states (
  run INTEGER NOT NULL REFERENCES runs, seq INTEGER NOT NULL, state TEXT NOT NULL, wall_ms REAL NOT NULL,
  hash BLOB NOT NULL, PRIMARY KEY (run, seq)
) STRICT, WITHOUT ROWID;

-- Readings lie in slabs of 512 in order of arrival; inside a slab they are sorted by channel through their
-- key, id = slab * 2^23 + channel * 2^9 + place of arrival. See slabs.ts for why.
CREATE TABLE slabs (
  id INTEGER PRIMARY KEY, run INTEGER NOT NULL REFERENCES runs, number INTEGER NOT NULL,
  first_ms REAL NOT NULL, last_ms REAL NOT NULL, UNIQUE (run, number)
) STRICT;
CREATE TABLE readings (
  id INTEGER PRIMARY KEY, run INTEGER NOT NULL, channel INTEGER NOT NULL, at_ms REAL NOT NULL,
  value REAL, u REAL, quality INTEGER NOT NULL
) STRICT;
${['runs', 'channels', 'events', 'batches', 'results', 'states', 'readings'].map(appendOnly).join('')}`,
}

function appendOnly(table: string): string {
  return ['UPDATE', 'DELETE'].map(verb => `
CREATE TRIGGER ${table}_no_${verb.toLowerCase()} BEFORE ${verb} ON ${table}
BEGIN SELECT RAISE(ABORT, '${table} are append only'); END;`).join('')
}
