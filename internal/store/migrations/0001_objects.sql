-- Objects that people keep, their originals, and the briefs made of them.
-- Times are milliseconds since 1970 in UTC.

CREATE TABLE objects (
	id      TEXT PRIMARY KEY NOT NULL,
	kind    TEXT NOT NULL CHECK (kind IN ('rider', 'rig', 'road', 'course', 'event')),
	name    TEXT NOT NULL,
	text    TEXT NOT NULL,
	demo    INTEGER NOT NULL CHECK (demo IN (0, 1)),
	created INTEGER NOT NULL,
	updated INTEGER NOT NULL
) STRICT;

CREATE INDEX objects_by_kind ON objects (kind);

CREATE TABLE originals (
	object_id TEXT PRIMARY KEY NOT NULL REFERENCES objects (id) ON DELETE CASCADE,
	filename  TEXT NOT NULL,
	media     TEXT NOT NULL,
	size      INTEGER NOT NULL,
	sha256    TEXT NOT NULL,
	bytes     BLOB NOT NULL
) STRICT;

-- A brief goes with its rider; it outlives the other things it was made of.
CREATE TABLE briefs (
	id        TEXT PRIMARY KEY NOT NULL,
	made      INTEGER NOT NULL,
	title     TEXT NOT NULL,
	rider_id  TEXT NOT NULL REFERENCES objects (id) ON DELETE CASCADE,
	rig_id    TEXT REFERENCES objects (id) ON DELETE SET NULL,
	road_id   TEXT REFERENCES objects (id) ON DELETE SET NULL,
	course_id TEXT REFERENCES objects (id) ON DELETE SET NULL,
	event_id  TEXT REFERENCES objects (id) ON DELETE SET NULL,
	demo      INTEGER NOT NULL CHECK (demo IN (0, 1)),
	request   BLOB NOT NULL,
	result    BLOB NOT NULL,
	page      BLOB NOT NULL
) STRICT;

CREATE INDEX briefs_by_rider ON briefs (rider_id, made);
CREATE INDEX briefs_by_rig ON briefs (rig_id);
CREATE INDEX briefs_by_road ON briefs (road_id);
CREATE INDEX briefs_by_course ON briefs (course_id);
CREATE INDEX briefs_by_event ON briefs (event_id);
