-- Alarms, work and inspections.

CREATE TABLE alarm (  -- an alarm occurrence; entry.at_utc_s is when it was raised
  entry_id           INTEGER PRIMARY KEY REFERENCES entry (entry_id) ON DELETE RESTRICT,
  alarm              TEXT NOT NULL CONSTRAINT alarm_known CHECK (alarm IN (
                       'low_level', 'empty', 'no_pressure', 'high_pressure', 'cycle_fault', 'power_fault', 'other')),
  cleared_utc_s      INTEGER CONSTRAINT alarm_cleared_range CHECK (cleared_utc_s BETWEEN 0 AND 4102444799),  -- NULL: still standing
  cleared_offset_min INTEGER CONSTRAINT alarm_cleared_offset_range CHECK (cleared_offset_min BETWEEN -1080 AND 1080),
  cleared_precision  INTEGER CONSTRAINT alarm_cleared_precision_known CHECK (cleared_precision BETWEEN 0 AND 2),
  CONSTRAINT alarm_cleared_whole CHECK (
    (cleared_utc_s IS NULL) = (cleared_offset_min IS NULL) AND (cleared_utc_s IS NULL) = (cleared_precision IS NULL))
) STRICT;
CREATE TRIGGER alarm_no_update BEFORE UPDATE ON alarm
BEGIN SELECT RAISE(ABORT, 'a record is never changed; record a correction'); END;
CREATE TRIGGER alarm_no_delete BEFORE DELETE ON alarm
BEGIN SELECT RAISE(ABORT, 'a record is never removed; record a withdrawal'); END;

CREATE TABLE work (  -- an intervention that starts a new baseline or changes what to expect
  entry_id INTEGER PRIMARY KEY REFERENCES entry (entry_id) ON DELETE RESTRICT,
  work     TEXT NOT NULL CONSTRAINT work_known CHECK (work IN (
             'seal_replaced', 'bearing_replaced', 'metering_replaced', 'setting_corrected', 'line_repaired',
             'pump_repaired', 'bled', 'controller_changed', 'lubricator_off', 'lubricator_on', 'purged', 'contact',
             'docked', 'undocked', 'other'))
) STRICT;
CREATE TRIGGER work_no_update BEFORE UPDATE ON work
BEGIN SELECT RAISE(ABORT, 'a record is never changed; record a correction'); END;
CREATE TRIGGER work_no_delete BEFORE DELETE ON work
BEGIN SELECT RAISE(ABORT, 'a record is never removed; record a withdrawal'); END;

CREATE TABLE inspection (  -- a measurement or sample of a shaft's bearing
  entry_id       INTEGER PRIMARY KEY REFERENCES entry (entry_id) ON DELETE RESTRICT,
  water_ppm      INTEGER CONSTRAINT inspection_water_not_negative CHECK (water_ppm >= 0),  -- 1 % = 10 000 ppm; NULL: not measured
  iron_ppm_milli INTEGER CONSTRAINT inspection_iron_not_negative CHECK (iron_ppm_milli >= 0),  -- thousandths of a ppm; NULL: not measured
  clearance_um   INTEGER CONSTRAINT inspection_clearance_not_negative CHECK (clearance_um >= 0)  -- NULL: not measured
) STRICT;
CREATE TRIGGER inspection_no_update BEFORE UPDATE ON inspection
BEGIN SELECT RAISE(ABORT, 'a record is never changed; record a correction'); END;
CREATE TRIGGER inspection_no_delete BEFORE DELETE ON inspection
BEGIN SELECT RAISE(ABORT, 'a record is never removed; record a withdrawal'); END;
