-- The register: the things that are tracked. Rows may be put right; register_change keeps each row as it was.
-- Settings that change in time carry from_...: the moment from which the row holds; NULL: from the beginning.
-- Every moment: seconds since 1970-01-01T00:00:00Z, the offset of the clock it was written by, and how finely it was
-- told (0 second, 1 minute, 2 day).

CREATE TABLE vessel (
  vessel_id   INTEGER PRIMARY KEY,
  code        TEXT NOT NULL UNIQUE CONSTRAINT vessel_code_not_empty CHECK (code <> ''),
  name        TEXT NOT NULL,
  imo         TEXT CONSTRAINT vessel_imo_seven_digits CHECK (imo GLOB '[0-9][0-9][0-9][0-9][0-9][0-9][0-9]'),  -- NULL: not known
  time_zone   TEXT NOT NULL CONSTRAINT vessel_time_zone_not_empty CHECK (time_zone <> ''),  -- IANA name
  fleet_group TEXT  -- sister vessels share one; NULL: none
) STRICT;

CREATE TABLE grease (
  grease_id      INTEGER PRIMARY KEY,
  code           TEXT NOT NULL UNIQUE CONSTRAINT grease_code_not_empty CHECK (code <> ''),
  thickener      TEXT CONSTRAINT grease_thickener_known CHECK (thickener IN (
                   'lithium', 'lithium_complex', 'calcium', 'calcium_complex', 'calcium_sulfonate', 'aluminium_complex',
                   'polyurea', 'clay', 'sodium', 'barium', 'other')),  -- NULL: not known
  nlgi           TEXT,  -- consistency grade '000' .. '6'; NULL: not known
  density_mg_cm3 INTEGER NOT NULL CONSTRAINT grease_density_above_zero CHECK (density_mg_cm3 > 0),
  sea_safe       INTEGER CONSTRAINT grease_sea_safe_yes_no CHECK (sea_safe IN (0, 1))  -- NULL: not known
) STRICT;

CREATE TABLE grease_evidence (  -- what is known about two greases that may meet in a cavity or a line; one row more for each report
  grease_evidence_id INTEGER PRIMARY KEY,
  grease_id       INTEGER NOT NULL REFERENCES grease (grease_id) ON DELETE RESTRICT,
  other_grease_id INTEGER NOT NULL REFERENCES grease (grease_id) ON DELETE RESTRICT,
  evidence        TEXT NOT NULL CONSTRAINT grease_evidence_known CHECK (evidence IN (
                    'test_report', 'supplier_statement', 'none')),  -- none: it was asked for and there is none
  reference       TEXT,  -- number, date, what it says; NULL: not said
  CONSTRAINT grease_evidence_of_two CHECK (grease_id <> other_grease_id)
) STRICT;
CREATE UNIQUE INDEX grease_evidence_key ON grease_evidence (grease_id, other_grease_id, evidence, ifnull(reference, ''));
CREATE TRIGGER grease_evidence_no_update BEFORE UPDATE ON grease_evidence
BEGIN SELECT RAISE(ABORT, 'evidence is never changed; add a row'); END;
CREATE TRIGGER grease_evidence_no_delete BEFORE DELETE ON grease_evidence
BEGIN SELECT RAISE(ABORT, 'evidence is never removed; add a row'); END;

CREATE TABLE gun (
  gun_id    INTEGER PRIMARY KEY,
  vessel_id INTEGER NOT NULL REFERENCES vessel (vessel_id) ON DELETE RESTRICT,
  code      TEXT NOT NULL CONSTRAINT gun_code_not_empty CHECK (code <> ''),
  CONSTRAINT gun_key UNIQUE (vessel_id, code)
) STRICT;

CREATE TABLE gun_calibration (
  gun_calibration_id INTEGER PRIMARY KEY,
  gun_id          INTEGER NOT NULL REFERENCES gun (gun_id) ON DELETE RESTRICT,
  from_utc_s      INTEGER CONSTRAINT gun_calibration_from_range CHECK (from_utc_s BETWEEN 0 AND 4102444799),
  from_offset_min INTEGER,
  from_precision  INTEGER CONSTRAINT gun_calibration_from_precision_known CHECK (from_precision BETWEEN 0 AND 2),
  per_stroke_mm3  INTEGER NOT NULL CONSTRAINT gun_calibration_per_stroke_above_zero CHECK (per_stroke_mm3 > 0),
  CONSTRAINT gun_calibration_from_whole CHECK (
    (from_utc_s IS NULL) = (from_offset_min IS NULL) AND (from_utc_s IS NULL) = (from_precision IS NULL))
) STRICT;
CREATE UNIQUE INDEX gun_calibration_key ON gun_calibration (gun_id, ifnull(from_utc_s, -1));

CREATE TABLE lubricator (
  lubricator_id INTEGER PRIMARY KEY,
  vessel_id     INTEGER NOT NULL REFERENCES vessel (vessel_id) ON DELETE RESTRICT,
  code          TEXT NOT NULL CONSTRAINT lubricator_code_not_empty CHECK (code <> ''),
  CONSTRAINT lubricator_key UNIQUE (vessel_id, code),
  CONSTRAINT lubricator_of_vessel UNIQUE (vessel_id, lubricator_id)  -- what entry and feed refer to
) STRICT;

CREATE TABLE lubricator_setting (
  lubricator_setting_id INTEGER PRIMARY KEY,
  lubricator_id   INTEGER NOT NULL REFERENCES lubricator (lubricator_id) ON DELETE RESTRICT,
  from_utc_s      INTEGER CONSTRAINT lubricator_setting_from_range CHECK (from_utc_s BETWEEN 0 AND 4102444799),
  from_offset_min INTEGER,
  from_precision  INTEGER CONSTRAINT lubricator_setting_from_precision_known CHECK (from_precision BETWEEN 0 AND 2),
  reservoir_mm3   INTEGER NOT NULL CONSTRAINT lubricator_setting_reservoir_above_zero CHECK (reservoir_mm3 > 0),
  low_level_mm3   INTEGER CONSTRAINT lubricator_setting_low_level_not_negative CHECK (low_level_mm3 >= 0),  -- NULL: 10 % of the reservoir
  grease_id       INTEGER NOT NULL REFERENCES grease (grease_id) ON DELETE RESTRICT,
  CONSTRAINT lubricator_setting_from_whole CHECK (
    (from_utc_s IS NULL) = (from_offset_min IS NULL) AND (from_utc_s IS NULL) = (from_precision IS NULL))
) STRICT;
CREATE UNIQUE INDEX lubricator_setting_key ON lubricator_setting (lubricator_id, ifnull(from_utc_s, -1));

CREATE TABLE shaft (
  shaft_id  INTEGER PRIMARY KEY,
  vessel_id INTEGER NOT NULL REFERENCES vessel (vessel_id) ON DELETE RESTRICT,
  code      TEXT NOT NULL CONSTRAINT shaft_code_not_empty CHECK (code <> ''),
  CONSTRAINT shaft_key UNIQUE (vessel_id, code),
  CONSTRAINT shaft_of_vessel UNIQUE (vessel_id, shaft_id)  -- what entry and feed refer to
) STRICT;

CREATE TABLE shaft_setting (
  shaft_setting_id INTEGER PRIMARY KEY,
  shaft_id         INTEGER NOT NULL REFERENCES shaft (shaft_id) ON DELETE RESTRICT,
  from_utc_s       INTEGER CONSTRAINT shaft_setting_from_range CHECK (from_utc_s BETWEEN 0 AND 4102444799),
  from_offset_min  INTEGER,
  from_precision   INTEGER CONSTRAINT shaft_setting_from_precision_known CHECK (from_precision BETWEEN 0 AND 2),
  position         TEXT,     -- free text; NULL: not said
  cavity_mm3       INTEGER CONSTRAINT shaft_setting_cavity_above_zero CHECK (cavity_mm3 > 0),  -- NULL: not known
  interval_s       INTEGER CONSTRAINT shaft_setting_interval_above_zero CHECK (interval_s > 0),  -- running time; NULL: none set
  interval_days    INTEGER CONSTRAINT shaft_setting_interval_days_above_zero CHECK (interval_days > 0),  -- NULL: none set
  reserve_pct_100  INTEGER CONSTRAINT shaft_setting_reserve_range CHECK (reserve_pct_100 BETWEEN 0 AND 10000),  -- hundredths of a per cent; NULL: 20 %
  meter_rollover_s INTEGER CONSTRAINT shaft_setting_meter_rollover_above_zero CHECK (meter_rollover_s > 0),  -- NULL: never
  grease_id        INTEGER NOT NULL REFERENCES grease (grease_id) ON DELETE RESTRICT,
  water_limit_ppm      INTEGER CONSTRAINT shaft_setting_water_limit_above_zero CHECK (water_limit_ppm > 0),  -- NULL: none set
  iron_limit_ppm_milli INTEGER CONSTRAINT shaft_setting_iron_limit_above_zero CHECK (iron_limit_ppm_milli > 0),  -- NULL: none set
  clearance_limit_um   INTEGER CONSTRAINT shaft_setting_clearance_limit_above_zero CHECK (clearance_limit_um > 0),  -- NULL: none set
  CONSTRAINT shaft_setting_from_whole CHECK (
    (from_utc_s IS NULL) = (from_offset_min IS NULL) AND (from_utc_s IS NULL) = (from_precision IS NULL))
) STRICT;
CREATE UNIQUE INDEX shaft_setting_key ON shaft_setting (shaft_id, ifnull(from_utc_s, -1));

CREATE TABLE feed (
  feed_id         INTEGER PRIMARY KEY,
  vessel_id       INTEGER NOT NULL,  -- proves that both ends are on one vessel
  lubricator_id   INTEGER NOT NULL,
  shaft_id        INTEGER NOT NULL,
  from_utc_s      INTEGER CONSTRAINT feed_from_range CHECK (from_utc_s BETWEEN 0 AND 4102444799),
  from_offset_min INTEGER,
  from_precision  INTEGER CONSTRAINT feed_from_precision_known CHECK (from_precision BETWEEN 0 AND 2),
  dose_mm3        INTEGER NOT NULL CONSTRAINT feed_dose_not_negative CHECK (dose_mm3 >= 0),  -- to this shaft per full cycle; 0: off
  cycle_s         INTEGER NOT NULL CONSTRAINT feed_cycle_above_zero CHECK (cycle_s > 0),  -- running time per full cycle
  CONSTRAINT feed_from_whole CHECK (
    (from_utc_s IS NULL) = (from_offset_min IS NULL) AND (from_utc_s IS NULL) = (from_precision IS NULL)),
  FOREIGN KEY (vessel_id, lubricator_id) REFERENCES lubricator (vessel_id, lubricator_id) ON DELETE RESTRICT,
  FOREIGN KEY (vessel_id, shaft_id) REFERENCES shaft (vessel_id, shaft_id) ON DELETE RESTRICT
) STRICT;
CREATE UNIQUE INDEX feed_key ON feed (lubricator_id, shaft_id, ifnull(from_utc_s, -1));
CREATE INDEX feed_of_vessel ON feed (vessel_id);

CREATE TABLE register_change (  -- a register row that was replaced, as it was before
  register_change_id INTEGER PRIMARY KEY,
  table_name TEXT NOT NULL CONSTRAINT register_change_table_known CHECK (table_name IN (
               'vessel', 'grease', 'gun_calibration', 'lubricator_setting', 'shaft_setting', 'feed')),
  row_id     INTEGER NOT NULL,  -- its primary key
  row_was    TEXT NOT NULL,     -- JSON object, column name to value
  at_utc_s   INTEGER NOT NULL,
  changed_by TEXT               -- NULL: not said
) STRICT;
CREATE TRIGGER register_change_no_update BEFORE UPDATE ON register_change
BEGIN SELECT RAISE(ABORT, 'what the register was is never changed'); END;
CREATE TRIGGER register_change_no_delete BEFORE DELETE ON register_change
BEGIN SELECT RAISE(ABORT, 'what the register was is never removed'); END;
