-- The audit chain. Records, remarks on findings and verifications stand in strands, one for each file in which they
-- were first written: the hash of a link is over its predecessor's and all that is kept of its record, so that nothing
-- can be altered, taken out or put between without every later hash disagreeing. The tables have no rowid and no foreign
-- keys: a link costs an import one insert at the end of one tree; that links and records belong together is for "check".

CREATE TABLE origin (  -- a file that records were first written in
  origin_id INTEGER PRIMARY KEY,
  uuid      BLOB NOT NULL CONSTRAINT origin_uuid_length CHECK (length(uuid) = 16),
  name      TEXT NOT NULL,  -- '': not told
  own       INTEGER CONSTRAINT origin_own_above_zero CHECK (own > 0)
            -- n-th strand of this file, the greatest is the one it writes; NULL: another file's
) STRICT, WITHOUT ROWID;
CREATE TRIGGER origin_no_delete BEFORE DELETE ON origin
BEGIN SELECT RAISE(ABORT, 'an origin is never removed'); END;

CREATE TABLE link (
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
CREATE TRIGGER link_no_update BEFORE UPDATE ON link
BEGIN SELECT RAISE(ABORT, 'a link is never changed'); END;
CREATE TRIGGER link_no_delete BEFORE DELETE ON link
BEGIN SELECT RAISE(ABORT, 'a link is never removed'); END;
