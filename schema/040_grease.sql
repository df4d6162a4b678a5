-- Grease put into reservoirs and cavities. An amount is kept as it was typed beside what it was turned into.

CREATE TABLE refill (  -- grease put into the reservoir of a lubricator
  entry_id                 INTEGER PRIMARY KEY REFERENCES entry (entry_id) ON DELETE RESTRICT,
  amount_typed             TEXT,  -- digits as written, with a decimal point; NULL: only levels were read
  amount_unit              TEXT CONSTRAINT refill_amount_unit_known CHECK (amount_unit IN (
                             'cm3', 'ml', 'l', 'g', 'kg', 'oz', 'lb', 'strokes', 'pct')),
  amount_mm3               INTEGER CONSTRAINT refill_amount_not_negative CHECK (amount_mm3 >= 0),  -- NULL: cannot be told
  amount_nano_cm3_per_unit INTEGER CONSTRAINT refill_amount_per_unit_above_zero CHECK (amount_nano_cm3_per_unit > 0),
                           -- what one unit was taken for then [1e-9 cm3]; NULL: not known
  before_pct_100           INTEGER CONSTRAINT refill_before_not_negative CHECK (before_pct_100 >= 0),  -- level before, hundredths of a per cent; NULL: not read
  after_pct_100            INTEGER CONSTRAINT refill_after_not_negative CHECK (after_pct_100 >= 0),    -- level after; NULL: not read
  grease_id                INTEGER REFERENCES grease (grease_id) ON DELETE RESTRICT,  -- NULL: the registered one
  batch                    TEXT,  -- NULL: not said
  CONSTRAINT refill_amount_whole CHECK (
    (amount_typed IS NULL) = (amount_unit IS NULL) AND
    (amount_typed IS NOT NULL OR (amount_mm3 IS NULL AND amount_nano_cm3_per_unit IS NULL)))
) STRICT;
CREATE TRIGGER refill_no_update BEFORE UPDATE ON refill
BEGIN SELECT RAISE(ABORT, 'a record is never changed; record a correction'); END;
CREATE TRIGGER refill_no_delete BEFORE DELETE ON refill
BEGIN SELECT RAISE(ABORT, 'a record is never removed; record a withdrawal'); END;

CREATE TABLE greasing (  -- one manual greasing of a shaft
  entry_id                 INTEGER PRIMARY KEY REFERENCES entry (entry_id) ON DELETE RESTRICT,
  amount_typed             TEXT,  -- digits as written, with a decimal point; NULL: not done
  amount_unit              TEXT CONSTRAINT greasing_amount_unit_known CHECK (amount_unit IN (
                             'cm3', 'ml', 'l', 'g', 'kg', 'oz', 'lb', 'strokes', 'pct')),
  amount_mm3               INTEGER CONSTRAINT greasing_amount_not_negative CHECK (amount_mm3 >= 0),  -- NULL: cannot be told
  amount_nano_cm3_per_unit INTEGER CONSTRAINT greasing_amount_per_unit_above_zero CHECK (amount_nano_cm3_per_unit > 0),
                           -- what one unit was taken for then [1e-9 cm3]; NULL: not known
  gun_id                   INTEGER REFERENCES gun (gun_id) ON DELETE RESTRICT,  -- NULL: not said
  ended                    TEXT NOT NULL CONSTRAINT greasing_ended_known CHECK (ended IN (
                             'pressure', 'limit', 'stopped', 'packed', 'not_done')),
  purge                    TEXT CONSTRAINT greasing_purge_known CHECK (purge IN ('none', 'clean', 'dark', 'water')),  -- NULL: not looked at
  grease_id                INTEGER REFERENCES grease (grease_id) ON DELETE RESTRICT,  -- NULL: the registered one
  CONSTRAINT greasing_amount_whole CHECK (
    (amount_typed IS NULL) = (amount_unit IS NULL) AND
    (amount_typed IS NOT NULL OR (amount_mm3 IS NULL AND amount_nano_cm3_per_unit IS NULL))),
  CONSTRAINT greasing_amount_unless_not_done CHECK ((amount_typed IS NULL) = (ended = 'not_done'))
) STRICT;
CREATE TRIGGER greasing_no_update BEFORE UPDATE ON greasing
BEGIN SELECT RAISE(ABORT, 'a record is never changed; record a correction'); END;
CREATE TRIGGER greasing_no_delete BEFORE DELETE ON greasing
BEGIN SELECT RAISE(ABORT, 'a record is never removed; record a withdrawal'); END;
