-- Calendars as they were taken in, and what result lists came to: JSON of
-- internal/service, without the names of others unless they were asked for.
-- Results go with their event. Times are milliseconds since 1970 in UTC.

CREATE TABLE calendars (
	id    TEXT PRIMARY KEY NOT NULL,
	added INTEGER NOT NULL,
	name  TEXT NOT NULL,
	bytes BLOB NOT NULL
) STRICT;

CREATE TABLE results (
	id       TEXT PRIMARY KEY NOT NULL,
	added    INTEGER NOT NULL,
	event_id TEXT NOT NULL REFERENCES objects (id) ON DELETE CASCADE,
	sheet    BLOB NOT NULL
) STRICT;

CREATE INDEX results_by_event ON results (event_id, added);
