-- Readings of meters, counters and reservoirs.

CREATE TABLE hours (  -- the hour meter's reading of a shaft
  entry_id     INTEGER PRIMARY KEY REFERENCES entry (entry_id) ON DELETE RESTRICT,
  reading_s    INTEGER NOT NULL CONSTRAINT hours_reading_not_negative CHECK (reading_s >= 0),
  is_new_meter INTEGER NOT NULL CONSTRAINT hours_is_new_meter_yes_no CHECK (is_new_meter IN (0, 1)),  -- replaced or reset: reading_s is what the new one shows
  old_meter_s  INTEGER CONSTRAINT hours_old_meter_not_negative CHECK (old_meter_s >= 0)  -- what the old one showed; NULL: not known, or not replaced
) STRICT;
CREATE TRIGGER hours_no_update BEFORE UPDATE ON hours
BEGIN SELECT RAISE(ABORT, 'a record is never changed; record a correction'); END;
CREATE TRIGGER hours_no_delete BEFORE DELETE ON hours
BEGIN SELECT RAISE(ABORT, 'a record is never removed; record a withdrawal'); END;

CREATE TABLE cycles (  -- the cycle counter's reading of a lubricator, in full cycles
  entry_id       INTEGER PRIMARY KEY REFERENCES entry (entry_id) ON DELETE RESTRICT,
  cycle_count    INTEGER NOT NULL CONSTRAINT cycles_count_not_negative CHECK (cycle_count >= 0),
  is_new_counter INTEGER NOT NULL CONSTRAINT cycles_is_new_counter_yes_no CHECK (is_new_counter IN (0, 1))  -- replaced or reset
) STRICT;
CREATE TRIGGER cycles_no_update BEFORE UPDATE ON cycles
BEGIN SELECT RAISE(ABORT, 'a record is never changed; record a correction'); END;
CREATE TRIGGER cycles_no_delete BEFORE DELETE ON cycles
BEGIN SELECT RAISE(ABORT, 'a record is never removed; record a withdrawal'); END;

CREATE TABLE level_reading (  -- level of a reservoir with nothing added
  entry_id      INTEGER PRIMARY KEY REFERENCES entry (entry_id) ON DELETE RESTRICT,
  level_pct_100 INTEGER NOT NULL CONSTRAINT level_reading_not_negative CHECK (level_pct_100 >= 0)  -- hundredths of a per cent of the reservoir
) STRICT;
CREATE TRIGGER level_reading_no_update BEFORE UPDATE ON level_reading
BEGIN SELECT RAISE(ABORT, 'a record is never changed; record a correction'); END;
CREATE TRIGGER level_reading_no_delete BEFORE DELETE ON level_reading
BEGIN SELECT RAISE(ABORT, 'a record is never removed; record a withdrawal'); END;
