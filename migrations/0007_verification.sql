-- Brings version 6 to 7: who has verified a record, and its place in the audit chain.

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

CREATE TABLE link_new (  -- a constraint cannot be altered: the table is made anew, its rows as they are
  origin_id         INTEGER NOT NULL,
  position          INTEGER NOT NULL CONSTRAINT link_position_above_zero CHECK (position > 0),  -- in its strand, from 1 without a gap
  entry_id          INTEGER,  -- the record; NULL: something else
  finding_remark_id INTEGER,  -- the remark on a finding; NULL: something else
  verification_id   INTEGER,  -- the verification; NULL: something else
  hash              BLOB NOT NULL CONSTRAINT link_hash_length CHECK (length(hash) = 32),
                    -- SHA-256 over the predecessor's hash (32 zero bytes before the first) and the content
  PRIMARY KEY (origin_id, position),
  CONSTRAINT link_one_thing CHECK (
    (entry_id IS NOT NULL) + (finding_remark_id IS NOT NULL) + (verification_id IS NOT NULL) = 1)
) STRICT, WITHOUT ROWID;
INSERT INTO link_new (origin_id, position, entry_id, finding_remark_id, hash)
SELECT origin_id, position, entry_id, finding_remark_id, hash FROM link ORDER BY origin_id, position;
DROP TABLE link;
ALTER TABLE link_new RENAME TO link;
CREATE TRIGGER link_no_update BEFORE UPDATE ON link
BEGIN SELECT RAISE(ABORT, 'a link is never changed'); END;
CREATE TRIGGER link_no_delete BEFORE DELETE ON link
BEGIN SELECT RAISE(ABORT, 'a link is never removed'); END;
