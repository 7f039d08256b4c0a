-- Checks of rigs as they were made, and the corrections that were applied on
-- purpose. A correction that was taken back stays as a row with its time, so
-- that what earlier rides went by can be told. Times are milliseconds since
-- 1970 in UTC.

CREATE TABLE checks (
	id       TEXT PRIMARY KEY NOT NULL,
	made     INTEGER NOT NULL,
	title    TEXT NOT NULL,
	rider_id TEXT NOT NULL REFERENCES objects (id) ON DELETE CASCADE,
	rig_id   TEXT NOT NULL REFERENCES objects (id) ON DELETE CASCADE,
	ride     TEXT NOT NULL,
	report   BLOB NOT NULL
) STRICT;

CREATE INDEX checks_by_rig ON checks (rig_id, made);
CREATE INDEX checks_by_rider ON checks (rider_id, made);

CREATE TABLE corrections (
	id       TEXT PRIMARY KEY NOT NULL,
	check_id TEXT NOT NULL REFERENCES checks (id) ON DELETE CASCADE,
	source   TEXT NOT NULL,
	applied  INTEGER NOT NULL,
	taken    INTEGER
) STRICT;

CREATE INDEX corrections_by_check ON corrections (check_id, applied);
