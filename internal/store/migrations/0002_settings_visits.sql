-- What the program itself remembers: settings, who gave the passphrase (only
-- a hash of their token), and who gave a wrong one.

CREATE TABLE settings (
	key   TEXT PRIMARY KEY NOT NULL,
	value TEXT NOT NULL
) STRICT;

CREATE TABLE visits (
	hash    TEXT PRIMARY KEY NOT NULL,
	made    INTEGER NOT NULL,
	expires INTEGER NOT NULL
) STRICT;

CREATE TABLE attempts (
	source TEXT NOT NULL,
	made   INTEGER NOT NULL
) STRICT;

CREATE INDEX attempts_by_source ON attempts (source, made);
