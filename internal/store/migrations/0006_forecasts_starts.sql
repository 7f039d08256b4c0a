-- What races of an event came to for a rider, kept until something it was made
-- from changes (key): the newest for each rider of each event. And start lists
-- of handicaps, each with what it was made from, so that arrivals can be read
-- against it later. Both go with any of their riders. Times are milliseconds
-- since 1970 in UTC.

CREATE TABLE forecasts (
	event_id  TEXT NOT NULL REFERENCES objects (id) ON DELETE CASCADE,
	rider_id  TEXT NOT NULL REFERENCES objects (id) ON DELETE CASCADE,
	rig_id    TEXT NOT NULL REFERENCES objects (id) ON DELETE CASCADE,
	course_id TEXT NOT NULL REFERENCES objects (id) ON DELETE CASCADE,
	road_id   TEXT REFERENCES objects (id) ON DELETE CASCADE,
	key       TEXT NOT NULL,
	made      INTEGER NOT NULL,
	sheet     BLOB NOT NULL,
	PRIMARY KEY (event_id, rider_id)
) STRICT;

CREATE INDEX forecasts_by_rider ON forecasts (rider_id);
CREATE INDEX forecasts_by_rig ON forecasts (rig_id);
CREATE INDEX forecasts_by_course ON forecasts (course_id);
CREATE INDEX forecasts_by_road ON forecasts (road_id);

CREATE TABLE start_lists (
	id      TEXT PRIMARY KEY NOT NULL,
	made    INTEGER NOT NULL,
	title   TEXT NOT NULL,
	request BLOB NOT NULL,
	sheet   BLOB NOT NULL
) STRICT;

CREATE TABLE start_list_riders (
	list_id  TEXT NOT NULL REFERENCES start_lists (id) ON DELETE CASCADE,
	rider_id TEXT NOT NULL,
	PRIMARY KEY (list_id, rider_id)
) STRICT;

CREATE INDEX start_lists_by_rider ON start_list_riders (rider_id);

CREATE TRIGGER start_lists_go_with_their_riders AFTER DELETE ON objects
BEGIN
	DELETE FROM start_lists WHERE id IN (SELECT list_id FROM start_list_riders WHERE rider_id = OLD.id);
END;
