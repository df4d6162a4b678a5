-- Who signs packs, whose keys this file believes, and what was signed. The secret key is not here: it stands in a file
-- beside this one, so that a copy of the database cannot sign. No rowid: what "recover" makes begins without keys.

CREATE TABLE signer (  -- a public key (Ed25519) that this file has met
  public_key  BLOB NOT NULL PRIMARY KEY CONSTRAINT signer_public_key_length CHECK (length(public_key) = 32),
  name        TEXT NOT NULL,  -- what the file that signs with it was called when it was met first
  own         INTEGER CONSTRAINT signer_own_above_zero CHECK (own > 0),
              -- n-th key of this file, the greatest is the one it signs with; NULL: another file's
  before_key  BLOB CONSTRAINT signer_before_key_length CHECK (length(before_key) = 32),
              -- the key that named it its successor; NULL: none
  since_utc_s INTEGER,  -- when it did, by its file's clock
  signature   BLOB CONSTRAINT signer_signature_length CHECK (length(signature) = 64),  -- by the key before
  CONSTRAINT signer_succession_whole CHECK (
    (before_key IS NULL) = (since_utc_s IS NULL) AND (before_key IS NULL) = (signature IS NULL))
) STRICT, WITHOUT ROWID;
CREATE TRIGGER signer_no_update BEFORE UPDATE ON signer
BEGIN SELECT RAISE(ABORT, 'a key is never changed'); END;
CREATE TRIGGER signer_no_delete BEFORE DELETE ON signer
BEGIN SELECT RAISE(ABORT, 'a key is never removed'); END;

CREATE TABLE trust (  -- what was decided about a key; of a key the row with the greatest number counts
  trust_id   INTEGER PRIMARY KEY,
  public_key BLOB NOT NULL CONSTRAINT trust_public_key_length CHECK (length(public_key) = 32),
  at_utc_s   INTEGER NOT NULL,
  by_name    TEXT NOT NULL,  -- who; '': not said
  decision   TEXT NOT NULL CONSTRAINT trust_decision_known CHECK (
               decision IN ('own', 'compared', 'followed', 'replaced', 'distrusted'))
             -- own: made here; compared: a person compared its fingerprint; followed: the trusted key before it named it;
             -- replaced: it named another; distrusted: a person did
) STRICT, WITHOUT ROWID;
CREATE TRIGGER trust_no_update BEFORE UPDATE ON trust
BEGIN SELECT RAISE(ABORT, 'a decision about a key is never changed; add another'); END;
CREATE TRIGGER trust_no_delete BEFORE DELETE ON trust
BEGIN SELECT RAISE(ABORT, 'a decision about a key is never removed; add another'); END;

CREATE TABLE signer_strand (  -- keys that may speak for a strand
  origin_id  INTEGER NOT NULL,
  public_key BLOB NOT NULL CONSTRAINT signer_strand_public_key_length CHECK (length(public_key) = 32),
  PRIMARY KEY (origin_id, public_key)
) STRICT, WITHOUT ROWID;
CREATE TRIGGER signer_strand_no_delete BEFORE DELETE ON signer_strand
BEGIN SELECT RAISE(ABORT, 'whose a key is, is never removed'); END;

CREATE TABLE checkpoint (  -- how a strand stood, signed
  origin_id  INTEGER NOT NULL,
  position   INTEGER NOT NULL CONSTRAINT checkpoint_position_above_zero CHECK (position > 0),
  public_key BLOB NOT NULL CONSTRAINT checkpoint_public_key_length CHECK (length(public_key) = 32),
  hash       BLOB NOT NULL CONSTRAINT checkpoint_hash_length CHECK (length(hash) = 32),  -- of the link at that position
  at_utc_s   INTEGER NOT NULL,  -- by the signer's clock
  signature  BLOB NOT NULL CONSTRAINT checkpoint_signature_length CHECK (length(signature) = 64),
  PRIMARY KEY (origin_id, position, public_key)
) STRICT, WITHOUT ROWID;
CREATE TRIGGER checkpoint_no_update BEFORE UPDATE ON checkpoint
BEGIN SELECT RAISE(ABORT, 'what was signed is never changed'); END;
CREATE TRIGGER checkpoint_no_delete BEFORE DELETE ON checkpoint
BEGIN SELECT RAISE(ABORT, 'what was signed is never removed'); END;
