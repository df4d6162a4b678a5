-- What ship and shore tell each other by packs. No rowid either: what is here can be told again.

CREATE TABLE fleet (  -- whose packs are taken; the row with the greatest key counts
  fleet_id INTEGER PRIMARY KEY,
  uuid     BLOB NOT NULL CONSTRAINT fleet_uuid_length CHECK (length(uuid) = 16)
) STRICT, WITHOUT ROWID;

CREATE TABLE peer (  -- what another file said of itself in its newest pack
  origin_id     INTEGER PRIMARY KEY,
  told_utc_s    INTEGER NOT NULL,  -- when that pack was made, by its clock
  register_hash BLOB NOT NULL CONSTRAINT peer_register_hash_length CHECK (length(register_hash) = 32),  -- its register
  seen_register BLOB CONSTRAINT peer_seen_register_length CHECK (length(seen_register) = 32)
                -- the register of this file that it has taken in last; NULL: none
) STRICT, WITHOUT ROWID;

CREATE TABLE acknowledged (  -- how far another file has a strand, by its newest pack
  peer_id   INTEGER NOT NULL,
  origin_id INTEGER NOT NULL,
  position  INTEGER NOT NULL CONSTRAINT acknowledged_position_not_negative CHECK (position >= 0),
  PRIMARY KEY (peer_id, origin_id)
) STRICT, WITHOUT ROWID;

CREATE TABLE variant (  -- what a strand has under an id that is kept here with other content
  origin_id INTEGER NOT NULL,
  position  INTEGER NOT NULL,
  content   BLOB NOT NULL,
  PRIMARY KEY (origin_id, position)
) STRICT, WITHOUT ROWID;
CREATE TRIGGER variant_no_update BEFORE UPDATE ON variant
BEGIN SELECT RAISE(ABORT, 'what a strand has is never changed'); END;
CREATE TRIGGER variant_no_delete BEFORE DELETE ON variant
BEGIN SELECT RAISE(ABORT, 'what a strand has is never removed'); END;

CREATE TABLE register_time (  -- when a row of the register was last put right, where another file told it
  table_name TEXT NOT NULL,
  row_id     INTEGER NOT NULL,
  at_utc_s   INTEGER NOT NULL,
  PRIMARY KEY (table_name, row_id)
) STRICT, WITHOUT ROWID;
