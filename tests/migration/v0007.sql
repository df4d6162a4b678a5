-- A file of schema version 7 with real rows: version 6's, and who has verified two of them. Never changed.
PRAGMA application_id = 1397245516;
PRAGMA foreign_keys=OFF;
BEGIN TRANSACTION;
CREATE TABLE acknowledged (  -- how far another file has a strand, by its newest pack
  peer_id   INTEGER NOT NULL,
  origin_id INTEGER NOT NULL,
  position  INTEGER NOT NULL CONSTRAINT acknowledged_position_not_negative CHECK (position >= 0),
  PRIMARY KEY (peer_id, origin_id)
) STRICT, WITHOUT ROWID;
INSERT INTO "acknowledged" VALUES(1,1,3);
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
INSERT INTO "alarm" VALUES(6,'no_pressure',1767398400,0,1);
INSERT INTO "alarm" VALUES(12,'empty',NULL,NULL,NULL);
CREATE TABLE checkpoint (  -- how a strand stood, signed
  origin_id  INTEGER NOT NULL,
  position   INTEGER NOT NULL CONSTRAINT checkpoint_position_above_zero CHECK (position > 0),
  public_key BLOB NOT NULL CONSTRAINT checkpoint_public_key_length CHECK (length(public_key) = 32),
  hash       BLOB NOT NULL CONSTRAINT checkpoint_hash_length CHECK (length(hash) = 32),  -- of the link at that position
  at_utc_s   INTEGER NOT NULL,  -- by the signer's clock
  signature  BLOB NOT NULL CONSTRAINT checkpoint_signature_length CHECK (length(signature) = 64),
  PRIMARY KEY (origin_id, position, public_key)
) STRICT, WITHOUT ROWID;
INSERT INTO "checkpoint" VALUES(1,14,X'EF2C2D204E54E5FD69180193B2998ABA8BF179C8B64E49210F7109CE0E1DEE8B',X'CEF78FB9EE97B5D661FF91D9552527DC1ADC8B3BC3C17B260DAB7E1D4DC07C3F',1795729762,X'8286E6AEC0A09F234787EB081973A42903AA96756513B57304A82A689CF48389EE1C66B3B3B02E94261DF5157D9711C18308C50D696B0E128FE0D72097CCAA0F');
CREATE TABLE cycles (  -- the cycle counter's reading of a lubricator, in full cycles
  entry_id       INTEGER PRIMARY KEY REFERENCES entry (entry_id) ON DELETE RESTRICT,
  cycle_count    INTEGER NOT NULL CONSTRAINT cycles_count_not_negative CHECK (cycle_count >= 0),
  is_new_counter INTEGER NOT NULL CONSTRAINT cycles_is_new_counter_yes_no CHECK (is_new_counter IN (0, 1))  -- replaced or reset
) STRICT;
INSERT INTO "cycles" VALUES(2,1234,0);
CREATE TABLE entry (
  entry_id            INTEGER PRIMARY KEY,
  uuid                BLOB NOT NULL UNIQUE CONSTRAINT entry_uuid_length CHECK (length(uuid) = 16),
  kind                INTEGER NOT NULL CONSTRAINT entry_kind_known CHECK (kind BETWEEN 1 AND 8),
                      -- 1 hours, 2 cycles, 3 level, 4 refill, 5 greasing, 6 alarm, 7 work, 8 inspection
  vessel_id           INTEGER NOT NULL REFERENCES vessel (vessel_id) ON DELETE RESTRICT,
  shaft_id            INTEGER,
  lubricator_id       INTEGER,
  at_utc_s            INTEGER NOT NULL CONSTRAINT entry_at_range CHECK (at_utc_s BETWEEN 0 AND 4102444799),
  at_offset_min       INTEGER NOT NULL CONSTRAINT entry_at_offset_range CHECK (at_offset_min BETWEEN -1080 AND 1080),
  at_precision        INTEGER NOT NULL CONSTRAINT entry_at_precision_known CHECK (at_precision BETWEEN 0 AND 2),
  recorded_at_utc_s   INTEGER NOT NULL CONSTRAINT entry_recorded_at_range CHECK (recorded_at_utc_s BETWEEN 0 AND 4102444799),
  recorded_offset_min INTEGER NOT NULL CONSTRAINT entry_recorded_offset_range CHECK (recorded_offset_min BETWEEN -1080 AND 1080),
  recorded_precision  INTEGER NOT NULL CONSTRAINT entry_recorded_precision_known CHECK (recorded_precision BETWEEN 0 AND 2),
  recorded_by         INTEGER REFERENCES person (person_id) ON DELETE RESTRICT,  -- NULL: not said
  source_id           INTEGER REFERENCES source (source_id) ON DELETE RESTRICT,  -- NULL: not said
  source_line         INTEGER CONSTRAINT entry_source_line_not_negative CHECK (source_line >= 0),  -- NULL: the source has no lines
  remark              TEXT,  -- NULL: none
  replaces            BLOB CONSTRAINT entry_replaces_length CHECK (length(replaces) = 16),
                      -- uuid; no foreign key: a pack may bring a correction before its original
  withdraws           BLOB CONSTRAINT entry_withdraws_length CHECK (length(withdraws) = 16),  -- uuid; no foreign key either
  reason              TEXT,  -- of the correction or withdrawal; NULL: not said
  CONSTRAINT entry_one_purpose CHECK (replaces IS NULL OR withdraws IS NULL),
  CONSTRAINT entry_not_of_itself CHECK (uuid IS NOT replaces AND uuid IS NOT withdraws),
  CONSTRAINT entry_about CHECK (withdraws IS NOT NULL OR CASE
    WHEN kind = 1 OR kind = 5 OR kind = 8 THEN shaft_id IS NOT NULL AND lubricator_id IS NULL
    WHEN kind BETWEEN 2 AND 4 THEN shaft_id IS NULL AND lubricator_id IS NOT NULL
    WHEN kind = 6 THEN shaft_id IS NOT NULL OR lubricator_id IS NOT NULL
    ELSE 1 END),
  FOREIGN KEY (vessel_id, shaft_id) REFERENCES shaft (vessel_id, shaft_id) ON DELETE RESTRICT,
  FOREIGN KEY (vessel_id, lubricator_id) REFERENCES lubricator (vessel_id, lubricator_id) ON DELETE RESTRICT
) STRICT;
INSERT INTO "entry" VALUES(1,X'00000000000070008000000000000001',1,1,1,NULL,1767312000,-210,2,1767312000,0,0,1,1,2,NULL,NULL,NULL,NULL);
INSERT INTO "entry" VALUES(2,X'00000000000070008000000000000002',2,1,NULL,1,1767312000,-210,2,1767312000,0,0,1,1,3,NULL,NULL,NULL,NULL);
INSERT INTO "entry" VALUES(3,X'00000000000070008000000000000003',3,1,NULL,1,1767312000,-210,2,1767312000,0,0,1,1,4,NULL,NULL,NULL,NULL);
INSERT INTO "entry" VALUES(4,X'00000000000070008000000000000004',4,1,NULL,1,1767312000,-210,2,1767312000,0,0,1,1,5,NULL,NULL,NULL,NULL);
INSERT INTO "entry" VALUES(5,X'00000000000070008000000000000005',5,1,1,NULL,1767312000,-210,2,1767312000,0,0,1,1,6,NULL,NULL,NULL,NULL);
INSERT INTO "entry" VALUES(6,X'00000000000070008000000000000006',6,1,NULL,1,1767312000,-210,2,1767312000,0,0,1,1,7,'horn silenced; café ''quoted''',NULL,NULL,NULL);
INSERT INTO "entry" VALUES(7,X'00000000000070008000000000000007',7,1,1,NULL,1767312000,-210,2,1767312000,0,0,1,1,8,NULL,NULL,NULL,NULL);
INSERT INTO "entry" VALUES(8,X'00000000000070008000000000000008',8,1,1,NULL,1767312000,-210,2,1767312000,0,0,1,1,9,NULL,NULL,NULL,NULL);
INSERT INTO "entry" VALUES(9,X'00000000000070008000000000000009',5,1,1,NULL,1767312000,0,1,1767571200,0,1,1,2,NULL,NULL,X'00000000000070008000000000000005',NULL,'misread');
INSERT INTO "entry" VALUES(10,X'0000000000007000800000000000000A',1,1,1,NULL,1767312000,0,1,1767657600,0,1,1,2,NULL,NULL,NULL,X'00000000000070008000000000000001','entered twice');
INSERT INTO "entry" VALUES(11,X'0000000000007000800000000000000B',4,1,NULL,1,1767312000,0,1,1767312000,0,0,NULL,NULL,NULL,NULL,NULL,NULL,NULL);
INSERT INTO "entry" VALUES(12,X'0000000000007000800000000000000C',6,1,NULL,1,1767312000,0,1,1767312000,0,0,1,2,NULL,NULL,NULL,NULL,NULL);
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
INSERT INTO "feed" VALUES(1,1,1,1,NULL,NULL,NULL,250,900);
INSERT INTO "feed" VALUES(2,1,1,2,NULL,NULL,NULL,250,900);
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
INSERT INTO "finding_remark" VALUES(1,X'00000000000070008000000000000101',X'8F427A25000080008000000000000001','missed_cycles',1,NULL,1,'taken',NULL,1767571200,60,1,1767571260,60,0,1,'act','the automatic system has not cycled',1767312000,1767225600,'cycle_ratio',0);
INSERT INTO "finding_remark" VALUES(2,X'00000000000070008000000000000102',X'8F427A25000080008000000000000001','missed_cycles',1,NULL,1,'closed','fuse renewed; café ''F3''',1767657600,60,2,1767660000,0,0,NULL,NULL,NULL,NULL,NULL,NULL,NULL);
CREATE TABLE fleet (  -- whose packs are taken; the row with the greatest key counts
  fleet_id INTEGER PRIMARY KEY,
  uuid     BLOB NOT NULL CONSTRAINT fleet_uuid_length CHECK (length(uuid) = 16)
) STRICT, WITHOUT ROWID;
INSERT INTO "fleet" VALUES(1,X'0102030405064708890A0B0C0D0E0F10');
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
INSERT INTO "grease" VALUES(1,'G-1','lithium_complex',NULL,920,NULL);
INSERT INTO "grease" VALUES(2,'G-2','calcium',NULL,950,NULL);
CREATE TABLE grease_evidence (  -- what is known about two greases that may meet in a cavity or a line; one row more for each report
  grease_evidence_id INTEGER PRIMARY KEY,
  grease_id       INTEGER NOT NULL REFERENCES grease (grease_id) ON DELETE RESTRICT,
  other_grease_id INTEGER NOT NULL REFERENCES grease (grease_id) ON DELETE RESTRICT,
  evidence        TEXT NOT NULL CONSTRAINT grease_evidence_known CHECK (evidence IN (
                    'test_report', 'supplier_statement', 'none')),  -- none: it was asked for and there is none
  reference       TEXT,  -- number, date, what it says; NULL: not said
  CONSTRAINT grease_evidence_of_two CHECK (grease_id <> other_grease_id)
) STRICT;
INSERT INTO "grease_evidence" VALUES(1,1,2,'test_report','R-7 of 2026-01-20: 50:50 softens by one grade');
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
INSERT INTO "greasing" VALUES(5,'60','strokes',78000,1300000,1,'pressure','clean',NULL);
INSERT INTO "greasing" VALUES(9,'60','strokes',78000,1300000,1,'pressure','clean',NULL);
CREATE TABLE gun (
  gun_id    INTEGER PRIMARY KEY,
  vessel_id INTEGER NOT NULL REFERENCES vessel (vessel_id) ON DELETE RESTRICT,
  code      TEXT NOT NULL CONSTRAINT gun_code_not_empty CHECK (code <> ''),
  CONSTRAINT gun_key UNIQUE (vessel_id, code)
) STRICT;
INSERT INTO "gun" VALUES(1,1,'gun1');
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
INSERT INTO "gun_calibration" VALUES(1,1,NULL,NULL,NULL,1100);
CREATE TABLE hours (  -- the hour meter's reading of a shaft
  entry_id     INTEGER PRIMARY KEY REFERENCES entry (entry_id) ON DELETE RESTRICT,
  reading_s    INTEGER NOT NULL CONSTRAINT hours_reading_not_negative CHECK (reading_s >= 0),
  is_new_meter INTEGER NOT NULL CONSTRAINT hours_is_new_meter_yes_no CHECK (is_new_meter IN (0, 1)),  -- replaced or reset: reading_s is what the new one shows
  old_meter_s  INTEGER CONSTRAINT hours_old_meter_not_negative CHECK (old_meter_s >= 0)  -- what the old one showed; NULL: not known, or not replaced
) STRICT;
INSERT INTO "hours" VALUES(1,3600000,0,NULL);
CREATE TABLE inspection (  -- a measurement or sample of a shaft's bearing
  entry_id       INTEGER PRIMARY KEY REFERENCES entry (entry_id) ON DELETE RESTRICT,
  water_ppm      INTEGER CONSTRAINT inspection_water_not_negative CHECK (water_ppm >= 0),  -- 1 % = 10 000 ppm; NULL: not measured
  iron_ppm_milli INTEGER CONSTRAINT inspection_iron_not_negative CHECK (iron_ppm_milli >= 0),  -- thousandths of a ppm; NULL: not measured
  clearance_um   INTEGER CONSTRAINT inspection_clearance_not_negative CHECK (clearance_um >= 0)  -- NULL: not measured
) STRICT;
INSERT INTO "inspection" VALUES(8,12000,35500,NULL);
CREATE TABLE level_reading (  -- level of a reservoir with nothing added
  entry_id      INTEGER PRIMARY KEY REFERENCES entry (entry_id) ON DELETE RESTRICT,
  level_pct_100 INTEGER NOT NULL CONSTRAINT level_reading_not_negative CHECK (level_pct_100 >= 0)  -- hundredths of a per cent of the reservoir
) STRICT;
INSERT INTO "level_reading" VALUES(3,4550);
CREATE TABLE "link" (  -- a constraint cannot be altered: the table is made anew, its rows as they are
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
INSERT INTO "link" VALUES(1,1,1,NULL,NULL,X'4FB69255F15DE18271E987B7153F5DB972B375A6D53DD376D8A1E274B02500E9');
INSERT INTO "link" VALUES(1,2,2,NULL,NULL,X'9E69073D78B8D53527FB8035B46A6B33E5604BFD8D8D0653A227796D547D7BFE');
INSERT INTO "link" VALUES(1,3,3,NULL,NULL,X'29729C60A14D7B5724E7315B55DADAB3EF09465F16182006AE96860DADA3AC78');
INSERT INTO "link" VALUES(1,4,4,NULL,NULL,X'54A2D6DD982F06253365559DEBD394DA059C278E20A2A8798A0036A6E7CA441B');
INSERT INTO "link" VALUES(1,5,5,NULL,NULL,X'3DCA65DC3587BB4B1FA392F7FD8095A2E83ACB0101FA8A7DA5E1D727AA5D8815');
INSERT INTO "link" VALUES(1,6,6,NULL,NULL,X'C4DED11A1AFA95D9261CDA2C8A6D25CF57367D6FA805ACD7D289C867CCB7D0C1');
INSERT INTO "link" VALUES(1,7,7,NULL,NULL,X'501D4E659C20D5D745B207400A7643D3C77B4FE6595210D688C80002D9A3AF8C');
INSERT INTO "link" VALUES(1,8,8,NULL,NULL,X'2BD047721886F5CE249B6DE4C907C56F137B79D45D1AA5093B4DBD9A170BA751');
INSERT INTO "link" VALUES(1,9,9,NULL,NULL,X'D89AB7F11CC3A2E6FD1780195A9CAF41BE05867AA237B5846C42184707941E18');
INSERT INTO "link" VALUES(1,10,10,NULL,NULL,X'575CC086D988D26AFA993089E626F20E7C7C43FE3ECFBCA987693799381E73E1');
INSERT INTO "link" VALUES(1,11,11,NULL,NULL,X'C5F4D1013C7EA9532392959DC2DA5BC4D360765AD91E572D874BCD22112305A4');
INSERT INTO "link" VALUES(1,12,12,NULL,NULL,X'D8C3EA850BC36C6E12D0C94CFB4F24CDB35F030866C437F3C8A6CC8534DEB2CB');
INSERT INTO "link" VALUES(1,13,NULL,1,NULL,X'1505F8C3C01E917501B9D8A03DE5FF191F46D018B371EB5769E6AAB93B2A37F5');
INSERT INTO "link" VALUES(1,14,NULL,2,NULL,X'CEF78FB9EE97B5D661FF91D9552527DC1ADC8B3BC3C17B260DAB7E1D4DC07C3F');
INSERT INTO "link" VALUES(1,15,NULL,NULL,1,X'DC71E5A26BF616AA703BDF398762C95B0B843EFECB53709D7AF0F2CE182ECD7F');
INSERT INTO "link" VALUES(1,16,NULL,NULL,2,X'CCDDF2F3643410DB0D2E3C293D56F916ADFE72BF622BA2C8E0C42835DC2F178D');
CREATE TABLE lubricator (
  lubricator_id INTEGER PRIMARY KEY,
  vessel_id     INTEGER NOT NULL REFERENCES vessel (vessel_id) ON DELETE RESTRICT,
  code          TEXT NOT NULL CONSTRAINT lubricator_code_not_empty CHECK (code <> ''),
  CONSTRAINT lubricator_key UNIQUE (vessel_id, code),
  CONSTRAINT lubricator_of_vessel UNIQUE (vessel_id, lubricator_id)  -- what entry and feed refer to
) STRICT;
INSERT INTO "lubricator" VALUES(1,1,'lub1');
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
INSERT INTO "lubricator_setting" VALUES(1,1,NULL,NULL,NULL,5000000,NULL,1);
CREATE TABLE origin (  -- a file that records were first written in
  origin_id INTEGER PRIMARY KEY,
  uuid      BLOB NOT NULL CONSTRAINT origin_uuid_length CHECK (length(uuid) = 16),
  name      TEXT NOT NULL,  -- '': not told
  own       INTEGER CONSTRAINT origin_own_above_zero CHECK (own > 0)
            -- n-th strand of this file, the greatest is the one it writes; NULL: another file's
) STRICT, WITHOUT ROWID;
INSERT INTO "origin" VALUES(1,X'B5882B9B640A42D7961F1D59BBAFF9FA','T-01',1);
CREATE TABLE peer (  -- what another file said of itself in its newest pack
  origin_id     INTEGER PRIMARY KEY,
  told_utc_s    INTEGER NOT NULL,  -- when that pack was made, by its clock
  register_hash BLOB NOT NULL CONSTRAINT peer_register_hash_length CHECK (length(register_hash) = 32),  -- its register
  seen_register BLOB CONSTRAINT peer_seen_register_length CHECK (length(seen_register) = 32)
                -- the register of this file that it has taken in last; NULL: none
) STRICT, WITHOUT ROWID;
INSERT INTO "peer" VALUES(1,1767225600,X'0000000000000000000000000000000000000000000000000000000000000000',NULL);
CREATE TABLE person (  -- who recorded; a name as it was given, not an account
  person_id INTEGER PRIMARY KEY,
  name      TEXT NOT NULL UNIQUE CONSTRAINT person_name_not_empty CHECK (name <> '')
) STRICT;
INSERT INTO "person" VALUES(1,'second engineer');
INSERT INTO "person" VALUES(2,'chief engineer');
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
INSERT INTO "refill" VALUES(4,'2.5','kg',2717391,1086956522,2000,7500,NULL,'B-7');
INSERT INTO "refill" VALUES(11,NULL,NULL,NULL,NULL,0,NULL,NULL,NULL);
CREATE TABLE register_change (  -- a register row that was replaced, as it was before
  register_change_id INTEGER PRIMARY KEY,
  table_name TEXT NOT NULL CONSTRAINT register_change_table_known CHECK (table_name IN (
               'vessel', 'grease', 'gun_calibration', 'lubricator_setting', 'shaft_setting', 'feed')),
  row_id     INTEGER NOT NULL,  -- its primary key
  row_was    TEXT NOT NULL,     -- JSON object, column name to value
  at_utc_s   INTEGER NOT NULL,
  changed_by TEXT               -- NULL: not said
) STRICT;
INSERT INTO "register_change" VALUES(1,'gun_calibration',1,'{"gun_id":1,"from_utc_s":null,"from_offset_min":null,"from_precision":null,"per_stroke_mm3":1300}',1767398400,'tester');
CREATE TABLE register_time (  -- when a row of the register was last put right, where another file told it
  table_name TEXT NOT NULL,
  row_id     INTEGER NOT NULL,
  at_utc_s   INTEGER NOT NULL,
  PRIMARY KEY (table_name, row_id)
) STRICT, WITHOUT ROWID;
INSERT INTO "register_time" VALUES('vessel',1,1767225600);
CREATE TABLE shaft (
  shaft_id  INTEGER PRIMARY KEY,
  vessel_id INTEGER NOT NULL REFERENCES vessel (vessel_id) ON DELETE RESTRICT,
  code      TEXT NOT NULL CONSTRAINT shaft_code_not_empty CHECK (code <> ''),
  CONSTRAINT shaft_key UNIQUE (vessel_id, code),
  CONSTRAINT shaft_of_vessel UNIQUE (vessel_id, shaft_id)  -- what entry and feed refer to
) STRICT;
INSERT INTO "shaft" VALUES(1,1,'port');
INSERT INTO "shaft" VALUES(2,1,'stbd');
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
  grease_id        INTEGER NOT NULL REFERENCES grease (grease_id) ON DELETE RESTRICT, water_limit_ppm INTEGER CONSTRAINT shaft_setting_water_limit_above_zero CHECK (water_limit_ppm > 0), iron_limit_ppm_milli INTEGER CONSTRAINT shaft_setting_iron_limit_above_zero CHECK (iron_limit_ppm_milli > 0), clearance_limit_um INTEGER CONSTRAINT shaft_setting_clearance_limit_above_zero CHECK (clearance_limit_um > 0),
  CONSTRAINT shaft_setting_from_whole CHECK (
    (from_utc_s IS NULL) = (from_offset_min IS NULL) AND (from_utc_s IS NULL) = (from_precision IS NULL))
) STRICT;
INSERT INTO "shaft_setting" VALUES(1,1,NULL,NULL,NULL,NULL,400000,NULL,NULL,NULL,NULL,1,15000,150000,600);
INSERT INTO "shaft_setting" VALUES(2,2,NULL,NULL,NULL,NULL,400000,NULL,NULL,NULL,NULL,1,NULL,NULL,NULL);
INSERT INTO "shaft_setting" VALUES(3,1,1768953600,0,1,'fin, lower',NULL,3600000,90,2500,36000000,1,NULL,NULL,NULL);
CREATE TABLE side (  -- the row with the greatest key counts; none: both
  side_id  INTEGER PRIMARY KEY,
  side     TEXT NOT NULL CONSTRAINT side_known CHECK (side IN ('both', 'ship', 'office')),
           -- both: not told apart; ship: tells when others correct what was first written here; office: corrects and
           -- withdraws only what was first written here
  at_utc_s INTEGER NOT NULL,
  by_name  TEXT NOT NULL  -- who said so; '': not said
) STRICT, WITHOUT ROWID;
INSERT INTO "side" VALUES(1,'ship',1795731754,'2/E');
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
INSERT INTO "signer" VALUES(X'E867E465B708DD5496679290290A3D9C6E46176E1FC5A3170830DC174B3580F6','',2,X'EF2C2D204E54E5FD69180193B2998ABA8BF179C8B64E49210F7109CE0E1DEE8B',1795729762,X'33A8917BC66F797F2DBCBF6F023BD65FE0F325E9B023963149BE1E20556324B3CDB1FC62BC595092B594B8FDD93029D7651FBEC82ACFD190B2419F8E0FB2FF00');
INSERT INTO "signer" VALUES(X'EF2C2D204E54E5FD69180193B2998ABA8BF179C8B64E49210F7109CE0E1DEE8B','',1,NULL,NULL,NULL);
CREATE TABLE signer_strand (  -- keys that may speak for a strand
  origin_id  INTEGER NOT NULL,
  public_key BLOB NOT NULL CONSTRAINT signer_strand_public_key_length CHECK (length(public_key) = 32),
  PRIMARY KEY (origin_id, public_key)
) STRICT, WITHOUT ROWID;
INSERT INTO "signer_strand" VALUES(1,X'E867E465B708DD5496679290290A3D9C6E46176E1FC5A3170830DC174B3580F6');
INSERT INTO "signer_strand" VALUES(1,X'EF2C2D204E54E5FD69180193B2998ABA8BF179C8B64E49210F7109CE0E1DEE8B');
CREATE TABLE source (  -- where records came from: 'typed', 'form', the name of a file
  source_id INTEGER PRIMARY KEY,
  name      TEXT NOT NULL UNIQUE CONSTRAINT source_name_not_empty CHECK (name <> '')
) STRICT;
INSERT INTO "source" VALUES(1,'sheet.csv');
INSERT INTO "source" VALUES(2,'typed');
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
INSERT INTO "trust" VALUES(1,X'EF2C2D204E54E5FD69180193B2998ABA8BF179C8B64E49210F7109CE0E1DEE8B',1795729762,'2/E','own');
INSERT INTO "trust" VALUES(2,X'E867E465B708DD5496679290290A3D9C6E46176E1FC5A3170830DC174B3580F6',1795729762,'2/E','own');
INSERT INTO "trust" VALUES(3,X'EF2C2D204E54E5FD69180193B2998ABA8BF179C8B64E49210F7109CE0E1DEE8B',1795729762,'2/E','replaced');
CREATE TABLE variant (  -- what a strand has under an id that is kept here with other content
  origin_id INTEGER NOT NULL,
  position  INTEGER NOT NULL,
  content   BLOB NOT NULL,
  PRIMARY KEY (origin_id, position)
) STRICT, WITHOUT ROWID;
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
INSERT INTO "verification" VALUES(1,X'00000000000070008000000000000701',1,X'00000000000070008000000000000009',1768200000,60,0,2);
INSERT INTO "verification" VALUES(2,X'00000000000070008000000000000702',1,X'00000000000070008000000000000002',1768200060,60,0,2);
CREATE TABLE vessel (
  vessel_id   INTEGER PRIMARY KEY,
  code        TEXT NOT NULL UNIQUE CONSTRAINT vessel_code_not_empty CHECK (code <> ''),
  name        TEXT NOT NULL,
  imo         TEXT CONSTRAINT vessel_imo_seven_digits CHECK (imo GLOB '[0-9][0-9][0-9][0-9][0-9][0-9][0-9]'),  -- NULL: not known
  time_zone   TEXT NOT NULL CONSTRAINT vessel_time_zone_not_empty CHECK (time_zone <> ''),  -- IANA name
  fleet_group TEXT  -- sister vessels share one; NULL: none
) STRICT;
INSERT INTO "vessel" VALUES(1,'T-01','Test vessel T-01',NULL,'UTC',NULL);
INSERT INTO "vessel" VALUES(2,'T-02','Second test vessel','1234567','Europe/Lisbon','sisters');
CREATE TABLE work (  -- an intervention that starts a new baseline or changes what to expect
  entry_id INTEGER PRIMARY KEY REFERENCES entry (entry_id) ON DELETE RESTRICT,
  work     TEXT NOT NULL CONSTRAINT work_known CHECK (work IN (
             'seal_replaced', 'bearing_replaced', 'metering_replaced', 'setting_corrected', 'line_repaired',
             'pump_repaired', 'bled', 'controller_changed', 'lubricator_off', 'lubricator_on', 'purged', 'contact',
             'docked', 'undocked', 'other'))
) STRICT;
INSERT INTO "work" VALUES(7,'seal_replaced');
CREATE UNIQUE INDEX gun_calibration_key ON gun_calibration (gun_id, ifnull(from_utc_s, -1));
CREATE UNIQUE INDEX lubricator_setting_key ON lubricator_setting (lubricator_id, ifnull(from_utc_s, -1));
CREATE UNIQUE INDEX shaft_setting_key ON shaft_setting (shaft_id, ifnull(from_utc_s, -1));
CREATE UNIQUE INDEX feed_key ON feed (lubricator_id, shaft_id, ifnull(from_utc_s, -1));
CREATE INDEX feed_of_vessel ON feed (vessel_id);
CREATE TRIGGER register_change_no_update BEFORE UPDATE ON register_change
BEGIN SELECT RAISE(ABORT, 'what the register was is never changed'); END;
CREATE TRIGGER register_change_no_delete BEFORE DELETE ON register_change
BEGIN SELECT RAISE(ABORT, 'what the register was is never removed'); END;
CREATE INDEX entry_of_vessel ON entry (vessel_id, kind, at_utc_s);
CREATE INDEX entry_replaces ON entry (vessel_id, replaces) WHERE replaces IS NOT NULL;
CREATE INDEX entry_withdraws ON entry (vessel_id, withdraws) WHERE withdraws IS NOT NULL;
CREATE TRIGGER person_no_update BEFORE UPDATE ON person
BEGIN SELECT RAISE(ABORT, 'a name in the log is never changed'); END;
CREATE TRIGGER person_no_delete BEFORE DELETE ON person
BEGIN SELECT RAISE(ABORT, 'a name in the log is never removed'); END;
CREATE TRIGGER source_no_update BEFORE UPDATE ON source
BEGIN SELECT RAISE(ABORT, 'a source in the log is never changed'); END;
CREATE TRIGGER source_no_delete BEFORE DELETE ON source
BEGIN SELECT RAISE(ABORT, 'a source in the log is never removed'); END;
CREATE TRIGGER entry_no_update BEFORE UPDATE ON entry
BEGIN SELECT RAISE(ABORT, 'a record is never changed; record a correction'); END;
CREATE TRIGGER entry_no_delete BEFORE DELETE ON entry
BEGIN SELECT RAISE(ABORT, 'a record is never removed; record a withdrawal'); END;
CREATE TRIGGER hours_no_update BEFORE UPDATE ON hours
BEGIN SELECT RAISE(ABORT, 'a record is never changed; record a correction'); END;
CREATE TRIGGER hours_no_delete BEFORE DELETE ON hours
BEGIN SELECT RAISE(ABORT, 'a record is never removed; record a withdrawal'); END;
CREATE TRIGGER cycles_no_update BEFORE UPDATE ON cycles
BEGIN SELECT RAISE(ABORT, 'a record is never changed; record a correction'); END;
CREATE TRIGGER cycles_no_delete BEFORE DELETE ON cycles
BEGIN SELECT RAISE(ABORT, 'a record is never removed; record a withdrawal'); END;
CREATE TRIGGER level_reading_no_update BEFORE UPDATE ON level_reading
BEGIN SELECT RAISE(ABORT, 'a record is never changed; record a correction'); END;
CREATE TRIGGER level_reading_no_delete BEFORE DELETE ON level_reading
BEGIN SELECT RAISE(ABORT, 'a record is never removed; record a withdrawal'); END;
CREATE TRIGGER refill_no_update BEFORE UPDATE ON refill
BEGIN SELECT RAISE(ABORT, 'a record is never changed; record a correction'); END;
CREATE TRIGGER refill_no_delete BEFORE DELETE ON refill
BEGIN SELECT RAISE(ABORT, 'a record is never removed; record a withdrawal'); END;
CREATE TRIGGER greasing_no_update BEFORE UPDATE ON greasing
BEGIN SELECT RAISE(ABORT, 'a record is never changed; record a correction'); END;
CREATE TRIGGER greasing_no_delete BEFORE DELETE ON greasing
BEGIN SELECT RAISE(ABORT, 'a record is never removed; record a withdrawal'); END;
CREATE TRIGGER alarm_no_update BEFORE UPDATE ON alarm
BEGIN SELECT RAISE(ABORT, 'a record is never changed; record a correction'); END;
CREATE TRIGGER alarm_no_delete BEFORE DELETE ON alarm
BEGIN SELECT RAISE(ABORT, 'a record is never removed; record a withdrawal'); END;
CREATE TRIGGER work_no_update BEFORE UPDATE ON work
BEGIN SELECT RAISE(ABORT, 'a record is never changed; record a correction'); END;
CREATE TRIGGER work_no_delete BEFORE DELETE ON work
BEGIN SELECT RAISE(ABORT, 'a record is never removed; record a withdrawal'); END;
CREATE TRIGGER inspection_no_update BEFORE UPDATE ON inspection
BEGIN SELECT RAISE(ABORT, 'a record is never changed; record a correction'); END;
CREATE TRIGGER inspection_no_delete BEFORE DELETE ON inspection
BEGIN SELECT RAISE(ABORT, 'a record is never removed; record a withdrawal'); END;
CREATE UNIQUE INDEX grease_evidence_key ON grease_evidence (grease_id, other_grease_id, evidence, ifnull(reference, ''));
CREATE TRIGGER grease_evidence_no_update BEFORE UPDATE ON grease_evidence
BEGIN SELECT RAISE(ABORT, 'evidence is never changed; add a row'); END;
CREATE TRIGGER grease_evidence_no_delete BEFORE DELETE ON grease_evidence
BEGIN SELECT RAISE(ABORT, 'evidence is never removed; add a row'); END;
CREATE INDEX finding_remark_of_vessel ON finding_remark (vessel_id, recorded_at_utc_s);
CREATE TRIGGER finding_remark_no_update BEFORE UPDATE ON finding_remark
BEGIN SELECT RAISE(ABORT, 'a remark on a finding is never changed; add another'); END;
CREATE TRIGGER finding_remark_no_delete BEFORE DELETE ON finding_remark
BEGIN SELECT RAISE(ABORT, 'a remark on a finding is never removed; add another'); END;
CREATE TRIGGER origin_no_delete BEFORE DELETE ON origin
BEGIN SELECT RAISE(ABORT, 'an origin is never removed'); END;
CREATE TRIGGER variant_no_update BEFORE UPDATE ON variant
BEGIN SELECT RAISE(ABORT, 'what a strand has is never changed'); END;
CREATE TRIGGER variant_no_delete BEFORE DELETE ON variant
BEGIN SELECT RAISE(ABORT, 'what a strand has is never removed'); END;
CREATE TRIGGER signer_no_update BEFORE UPDATE ON signer
BEGIN SELECT RAISE(ABORT, 'a key is never changed'); END;
CREATE TRIGGER signer_no_delete BEFORE DELETE ON signer
BEGIN SELECT RAISE(ABORT, 'a key is never removed'); END;
CREATE TRIGGER trust_no_update BEFORE UPDATE ON trust
BEGIN SELECT RAISE(ABORT, 'a decision about a key is never changed; add another'); END;
CREATE TRIGGER trust_no_delete BEFORE DELETE ON trust
BEGIN SELECT RAISE(ABORT, 'a decision about a key is never removed; add another'); END;
CREATE TRIGGER signer_strand_no_delete BEFORE DELETE ON signer_strand
BEGIN SELECT RAISE(ABORT, 'whose a key is, is never removed'); END;
CREATE TRIGGER checkpoint_no_update BEFORE UPDATE ON checkpoint
BEGIN SELECT RAISE(ABORT, 'what was signed is never changed'); END;
CREATE TRIGGER checkpoint_no_delete BEFORE DELETE ON checkpoint
BEGIN SELECT RAISE(ABORT, 'what was signed is never removed'); END;
CREATE TRIGGER side_no_update BEFORE UPDATE ON side
BEGIN SELECT RAISE(ABORT, 'whose a file was is never changed; say it anew'); END;
CREATE TRIGGER side_no_delete BEFORE DELETE ON side
BEGIN SELECT RAISE(ABORT, 'whose a file was is never removed; say it anew'); END;
CREATE INDEX verification_of_record ON verification (vessel_id, record);
CREATE TRIGGER verification_no_update BEFORE UPDATE ON verification
BEGIN SELECT RAISE(ABORT, 'a verification is never changed'); END;
CREATE TRIGGER verification_no_delete BEFORE DELETE ON verification
BEGIN SELECT RAISE(ABORT, 'a verification is never removed'); END;
CREATE TRIGGER link_no_update BEFORE UPDATE ON link
BEGIN SELECT RAISE(ABORT, 'a link is never changed'); END;
CREATE TRIGGER link_no_delete BEFORE DELETE ON link
BEGIN SELECT RAISE(ABORT, 'a link is never removed'); END;
COMMIT;
PRAGMA user_version = 7;
