-- Version 2: remarks on findings, evidence about pairs of greases, limits of inspections.

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

ALTER TABLE shaft_setting ADD COLUMN water_limit_ppm INTEGER CONSTRAINT shaft_setting_water_limit_above_zero CHECK (water_limit_ppm > 0);
ALTER TABLE shaft_setting ADD COLUMN iron_limit_ppm_milli INTEGER CONSTRAINT shaft_setting_iron_limit_above_zero CHECK (iron_limit_ppm_milli > 0);
ALTER TABLE shaft_setting ADD COLUMN clearance_limit_um INTEGER CONSTRAINT shaft_setting_clearance_limit_above_zero CHECK (clearance_limit_um > 0);

CREATE TABLE finding_remark (
  finding_remark_id   INTEGER PRIMARY KEY,
  uuid                BLOB NOT NULL UNIQUE CONSTRAINT finding_remark_uuid_length CHECK (length(uuid) = 16),
  finding             BLOB NOT NULL CONSTRAINT finding_remark_finding_length CHECK (length(finding) = 16),
                      -- id of the finding; the same in every run and every copy of the log
  kind                TEXT NOT NULL CONSTRAINT finding_remark_kind_not_empty CHECK (kind <> ''),  -- of the finding
  vessel_id           INTEGER NOT NULL REFERENCES vessel (vessel_id) ON DELETE RESTRICT,
  shaft_id            INTEGER,  -- NULL: not about a shaft
  lubricator_id       INTEGER,  -- NULL: not about a lubricator
  did                 TEXT NOT NULL CONSTRAINT finding_remark_did_known CHECK (did IN (
                        'taken', 'noted', 'closed', 'reopened')),
  says                TEXT,     -- the note, what was done, why it is open again; NULL: nothing, when it was taken in hand
  at_utc_s            INTEGER NOT NULL CONSTRAINT finding_remark_at_range CHECK (at_utc_s BETWEEN 0 AND 4102444799),
                      -- when it was done
  at_offset_min       INTEGER NOT NULL CONSTRAINT finding_remark_at_offset_range CHECK (at_offset_min BETWEEN -1080 AND 1080),
  at_precision        INTEGER NOT NULL CONSTRAINT finding_remark_at_precision_known CHECK (at_precision BETWEEN 0 AND 2),
  recorded_at_utc_s   INTEGER NOT NULL CONSTRAINT finding_remark_recorded_at_range CHECK (recorded_at_utc_s BETWEEN 0 AND 4102444799),
  recorded_offset_min INTEGER NOT NULL CONSTRAINT finding_remark_recorded_offset_range CHECK (recorded_offset_min BETWEEN -1080 AND 1080),
  recorded_precision  INTEGER NOT NULL CONSTRAINT finding_remark_recorded_precision_known CHECK (recorded_precision BETWEEN 0 AND 2),
  recorded_by         INTEGER REFERENCES person (person_id) ON DELETE RESTRICT,  -- NULL: not said
  -- What the finding said then; NULL where it was not found any more.
  was_urgency         TEXT,
  was_summary         TEXT,
  was_first_seen_utc_s INTEGER CONSTRAINT finding_remark_first_seen_range CHECK (was_first_seen_utc_s BETWEEN 0 AND 4102444799),
  was_began_utc_s     INTEGER CONSTRAINT finding_remark_began_range CHECK (was_began_utc_s BETWEEN 0 AND 4102444799),
  was_measure         TEXT,     -- name of the figure by which it is seen whether the numbers came back
  was_value_ppm       INTEGER,  -- that figure, in millionths of its unit
  CONSTRAINT finding_remark_says CHECK (did = 'taken' OR ifnull(says, '') <> ''),
  CONSTRAINT finding_remark_measured CHECK ((was_measure IS NULL) = (was_value_ppm IS NULL)),
  FOREIGN KEY (vessel_id, shaft_id) REFERENCES shaft (vessel_id, shaft_id) ON DELETE RESTRICT,
  FOREIGN KEY (vessel_id, lubricator_id) REFERENCES lubricator (vessel_id, lubricator_id) ON DELETE RESTRICT
) STRICT;
CREATE INDEX finding_remark_of_vessel ON finding_remark (vessel_id, recorded_at_utc_s);

CREATE TRIGGER finding_remark_no_update BEFORE UPDATE ON finding_remark
BEGIN SELECT RAISE(ABORT, 'a remark on a finding is never changed; add another'); END;
CREATE TRIGGER finding_remark_no_delete BEFORE DELETE ON finding_remark
BEGIN SELECT RAISE(ABORT, 'a remark on a finding is never removed; add another'); END;
