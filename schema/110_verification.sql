-- Who has looked at a record and found it right. It stands beside the record, which it does not change; a correction is
-- another record, and not verified yet.

CREATE TABLE verification (
  verification_id INTEGER PRIMARY KEY,
  uuid            BLOB NOT NULL UNIQUE CONSTRAINT verification_uuid_length CHECK (length(uuid) = 16),
  vessel_id       INTEGER NOT NULL REFERENCES vessel (vessel_id) ON DELETE RESTRICT,  -- of the record
  record          BLOB NOT NULL CONSTRAINT verification_record_length CHECK (length(record) = 16),
                  -- uuid of the entry; no foreign key: a pack may bring it before the record
  at_utc_s        INTEGER NOT NULL CONSTRAINT verification_at_range CHECK (at_utc_s BETWEEN 0 AND 4102444799),
  at_offset_min   INTEGER NOT NULL CONSTRAINT verification_at_offset_range CHECK (at_offset_min BETWEEN -1080 AND 1080),
  at_precision    INTEGER NOT NULL CONSTRAINT verification_at_precision_known CHECK (at_precision BETWEEN 0 AND 2),
  verified_by     INTEGER NOT NULL REFERENCES person (person_id) ON DELETE RESTRICT
) STRICT;
CREATE INDEX verification_of_record ON verification (vessel_id, record);

CREATE TRIGGER verification_no_update BEFORE UPDATE ON verification
BEGIN SELECT RAISE(ABORT, 'a verification is never changed'); END;
CREATE TRIGGER verification_no_delete BEFORE DELETE ON verification
BEGIN SELECT RAISE(ABORT, 'a verification is never removed'); END;
