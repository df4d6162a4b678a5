-- Brings version 5 to 6: whose file this is.

CREATE TABLE side (  -- the row with the greatest key counts; none: both
  side_id  INTEGER PRIMARY KEY,
  side     TEXT NOT NULL CONSTRAINT side_known CHECK (side IN ('both', 'ship', 'office')),
           -- both: not told apart; ship: tells when others correct what was first written here; office: corrects and
           -- withdraws only what was first written here
  at_utc_s INTEGER NOT NULL,
  by_name  TEXT NOT NULL  -- who said so; '': not said
) STRICT, WITHOUT ROWID;
CREATE TRIGGER side_no_update BEFORE UPDATE ON side
BEGIN SELECT RAISE(ABORT, 'whose a file was is never changed; say it anew'); END;
CREATE TRIGGER side_no_delete BEFORE DELETE ON side
BEGIN SELECT RAISE(ABORT, 'whose a file was is never removed; say it anew'); END;
