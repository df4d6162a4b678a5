-- The spine of the log: what every record has. One detail row in the table of its kind says the rest; a withdrawal has
-- none. A record is never changed or removed: a correction is a newer one with `replaces`, a withdrawal one with
-- `withdraws`. (No IN with more than two numbers in the checks of this table and of 030_counters.sql: SQLite builds a
-- table in memory for each such list and row, which halved the speed of an import.)

CREATE TABLE person (  -- who recorded; a name as it was given, not an account
  person_id INTEGER PRIMARY KEY,
  name      TEXT NOT NULL UNIQUE CONSTRAINT person_name_not_empty CHECK (name <> '')
) STRICT;

CREATE TABLE source (  -- where records came from: 'typed', 'form', the name of a file
  source_id INTEGER PRIMARY KEY,
  name      TEXT NOT NULL UNIQUE CONSTRAINT source_name_not_empty CHECK (name <> '')
) STRICT;

CREATE TABLE entry (
  entry_id            INTEGER PRIMARY KEY,
  uuid                BLOB NOT NULL UNIQUE CONSTRAINT entry_uuid_length CHECK (length(uuid) = 16),
  kind                INTEGER NOT NULL CONSTRAINT entry_kind_known CHECK (kind BETWEEN 1 AND 8),
                      -- 1 hours, 2 cycles, 3 level, 4 refill, 5 greasing, 6 alarm, 7 work, 8 inspection
  vessel_id           INTEGER NOT NULL REFERENCES vessel (vessel_id) ON DELETE RESTRICT,
  shaft_id            INTEGER,
  lubricator_id       INTEGER,
  at_utc_s            INTEGER NOT NULL CONSTRAINT entry_at_range CHECK (at_utc_s BETWEEN 0 AND 4102444799),
  at_offset_min       INTEGER NOT NULL CONSTRAINT entry_at_offset_range CHECK (at_offset_min BETWEEN -1080 AND 1080),
  at_precision        INTEGER NOT NULL CONSTRAINT entry_at_precision_known CHECK (at_precision BETWEEN 0 AND 2),
  recorded_at_utc_s   INTEGER NOT NULL CONSTRAINT entry_recorded_at_range CHECK (recorded_at_utc_s BETWEEN 0 AND 4102444799),
  recorded_offset_min INTEGER NOT NULL CONSTRAINT entry_recorded_offset_range CHECK (recorded_offset_min BETWEEN -1080 AND 1080),
  recorded_precision  INTEGER NOT NULL CONSTRAINT entry_recorded_precision_known CHECK (recorded_precision BETWEEN 0 AND 2),
  recorded_by         INTEGER REFERENCES person (person_id) ON DELETE RESTRICT,  -- NULL: not said
  source_id           INTEGER REFERENCES source (source_id) ON DELETE RESTRICT,  -- NULL: not said
  source_line         INTEGER CONSTRAINT entry_source_line_not_negative CHECK (source_line >= 0),  -- NULL: the source has no lines
  remark              TEXT,  -- NULL: none
  replaces            BLOB CONSTRAINT entry_replaces_length CHECK (length(replaces) = 16),
                      -- uuid; no foreign key: a pack may bring a correction before its original
  withdraws           BLOB CONSTRAINT entry_withdraws_length CHECK (length(withdraws) = 16),  -- uuid; no foreign key either
  reason              TEXT,  -- of the correction or withdrawal; NULL: not said
  CONSTRAINT entry_one_purpose CHECK (replaces IS NULL OR withdraws IS NULL),
  CONSTRAINT entry_not_of_itself CHECK (uuid IS NOT replaces AND uuid IS NOT withdraws),
  CONSTRAINT entry_about CHECK (withdraws IS NOT NULL OR CASE
    WHEN kind = 1 OR kind = 5 OR kind = 8 THEN shaft_id IS NOT NULL AND lubricator_id IS NULL
    WHEN kind BETWEEN 2 AND 4 THEN shaft_id IS NULL AND lubricator_id IS NOT NULL
    WHEN kind = 6 THEN shaft_id IS NOT NULL OR lubricator_id IS NOT NULL
    ELSE 1 END),
  FOREIGN KEY (vessel_id, shaft_id) REFERENCES shaft (vessel_id, shaft_id) ON DELETE RESTRICT,
  FOREIGN KEY (vessel_id, lubricator_id) REFERENCES lubricator (vessel_id, lubricator_id) ON DELETE RESTRICT
) STRICT;

CREATE INDEX entry_of_vessel ON entry (vessel_id, kind, at_utc_s);
-- Corrections and withdrawals stay within one vessel, so that a vessel's are found without looking at the fleet's.
CREATE INDEX entry_replaces ON entry (vessel_id, replaces) WHERE replaces IS NOT NULL;
CREATE INDEX entry_withdraws ON entry (vessel_id, withdraws) WHERE withdraws IS NOT NULL;

CREATE TRIGGER person_no_update BEFORE UPDATE ON person
BEGIN SELECT RAISE(ABORT, 'a name in the log is never changed'); END;
CREATE TRIGGER person_no_delete BEFORE DELETE ON person
BEGIN SELECT RAISE(ABORT, 'a name in the log is never removed'); END;
CREATE TRIGGER source_no_update BEFORE UPDATE ON source
BEGIN SELECT RAISE(ABORT, 'a source in the log is never changed'); END;
CREATE TRIGGER source_no_delete BEFORE DELETE ON source
BEGIN SELECT RAISE(ABORT, 'a source in the log is never removed'); END;
CREATE TRIGGER entry_no_update BEFORE UPDATE ON entry
BEGIN SELECT RAISE(ABORT, 'a record is never changed; record a correction'); END;
CREATE TRIGGER entry_no_delete BEFORE DELETE ON entry
BEGIN SELECT RAISE(ABORT, 'a record is never removed; record a withdrawal'); END;
