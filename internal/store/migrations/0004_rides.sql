-- Rides that were ridden, as they were taken in. Their files lie beside the
-- database, by the SHA-256 of their bytes. What was measured, what a person
-- said and what was learnt are JSON of internal/service; best is packed. A
-- ride goes with its rider; it outlives the other things it refers to. Times
-- are milliseconds since 1970 in UTC.

CREATE TABLE rides (
	id          TEXT PRIMARY KEY NOT NULL,
	added       INTEGER NOT NULL,
	rider_id    TEXT REFERENCES objects (id) ON DELETE CASCADE,
	rig_id      TEXT REFERENCES objects (id) ON DELETE SET NULL,
	road_id     TEXT REFERENCES objects (id) ON DELETE SET NULL,
	course_id   TEXT REFERENCES objects (id) ON DELETE SET NULL,
	brief_id    TEXT REFERENCES briefs (id) ON DELETE SET NULL,
	repeats     TEXT REFERENCES rides (id) ON DELETE SET NULL,
	start       INTEGER NOT NULL,
	hash        TEXT NOT NULL,
	number      INTEGER NOT NULL,
	filename    TEXT NOT NULL,
	live        TEXT NOT NULL,
	fingerprint TEXT NOT NULL,
	facts       BLOB NOT NULL,
	said        BLOB NOT NULL,
	learnt      BLOB,
	best        BLOB NOT NULL
) STRICT;

CREATE INDEX rides_by_rider ON rides (rider_id, start);
CREATE INDEX rides_by_start ON rides (start);
CREATE INDEX rides_by_hash ON rides (hash);
CREATE INDEX rides_by_rig ON rides (rig_id);
CREATE INDEX rides_by_road ON rides (road_id);
CREATE INDEX rides_by_course ON rides (course_id);
CREATE INDEX rides_by_brief ON rides (brief_id);
CREATE INDEX rides_by_repeats ON rides (repeats);

-- What was learnt of a rider and is left out on purpose, by its key.
CREATE TABLE left_out (
	rider_id TEXT NOT NULL REFERENCES objects (id) ON DELETE CASCADE,
	key      TEXT NOT NULL,
	PRIMARY KEY (rider_id, key)
) STRICT;

-- Imports of rides, so that one goes on after the program was stopped, and the
-- files they have dealt with; refused is why one was not taken in.
CREATE TABLE imports (
	id       TEXT PRIMARY KEY NOT NULL,
	made     INTEGER NOT NULL,
	state    TEXT NOT NULL,
	request  BLOB NOT NULL,
	progress BLOB NOT NULL
) STRICT;

CREATE TABLE import_files (
	import_id TEXT NOT NULL REFERENCES imports (id) ON DELETE CASCADE,
	file      TEXT NOT NULL,
	hash      TEXT NOT NULL,
	refused   TEXT NOT NULL,
	PRIMARY KEY (import_id, file)
) STRICT;
