-- A database of the first version that had forms, made by that version from a few invented files (its first schema, never changed since).
BEGIN TRANSACTION;
CREATE TABLE "_sqlite_migrations" (
   "id" INTEGER PRIMARY KEY,
   "migration_set" TEXT,
   "name" TEXT,
   "applied_at" TEXT
);
INSERT INTO "_sqlite_migrations" VALUES(1,'cranktrend','001_records','2026-11-28 18:16:30.548162+00:00');
INSERT INTO "_sqlite_migrations" VALUES(2,'cranktrend','002_work_with_the_list','2026-11-28 18:16:30.549456+00:00');
CREATE TABLE audit (
        id INTEGER PRIMARY KEY,
        at TEXT NOT NULL,
        by TEXT NOT NULL,
        table_name TEXT NOT NULL,
        row_key TEXT NOT NULL,
        column_name TEXT NOT NULL,
        old_value TEXT,
        new_value TEXT,
        reason TEXT NOT NULL,
        origin_id INTEGER REFERENCES origins(id)
    ) STRICT;
INSERT INTO "audit" VALUES(1,'2024-06-01T12:00:00','c2.csv','climate','harbour/1','low_c','1.0','0.0','a newer file gives another value',9);
INSERT INTO "audit" VALUES(2,'2024-06-01T12:00:00','Mia','settings','tolerated_false_flags','value',NULL,'4','setting changed',NULL);
CREATE TABLE climate (
        depot TEXT NOT NULL,
        month INTEGER NOT NULL CHECK (month BETWEEN 1 AND 12),
        low_c REAL NOT NULL,
        low_sd_c REAL CHECK (low_sd_c >= 0),
        extra TEXT NOT NULL DEFAULT '',
        origin_id INTEGER NOT NULL REFERENCES origins(id),
        line INTEGER,
        PRIMARY KEY (depot, month)
    ) STRICT;
INSERT INTO "climate" VALUES('harbour',1,0.0,4.0,'',9,2);
INSERT INTO "climate" VALUES('harbour',2,1.0,4.0,'',2,3);
INSERT INTO "climate" VALUES('harbour',3,3.0,4.0,'',2,4);
INSERT INTO "climate" VALUES('harbour',4,6.0,4.0,'',2,5);
INSERT INTO "climate" VALUES('harbour',5,10.0,4.0,'',2,6);
INSERT INTO "climate" VALUES('harbour',6,13.0,4.0,'',2,7);
INSERT INTO "climate" VALUES('harbour',7,15.0,4.0,'',2,8);
INSERT INTO "climate" VALUES('harbour',8,15.0,4.0,'',2,9);
INSERT INTO "climate" VALUES('harbour',9,12.0,4.0,'',2,10);
INSERT INTO "climate" VALUES('harbour',10,9.0,4.0,'',2,11);
INSERT INTO "climate" VALUES('harbour',11,5.0,4.0,'',2,12);
INSERT INTO "climate" VALUES('harbour',12,2.0,4.0,'',2,13);
INSERT INTO "climate" VALUES('hill',1,-6.0,4.0,'',2,14);
INSERT INTO "climate" VALUES('hill',2,-5.0,4.0,'',2,15);
INSERT INTO "climate" VALUES('hill',3,-2.0,4.0,'',2,16);
INSERT INTO "climate" VALUES('hill',4,2.0,4.0,'',2,17);
INSERT INTO "climate" VALUES('hill',5,6.0,4.0,'',2,18);
INSERT INTO "climate" VALUES('hill',6,9.0,4.0,'',2,19);
INSERT INTO "climate" VALUES('hill',7,11.0,4.0,'',2,20);
INSERT INTO "climate" VALUES('hill',8,11.0,4.0,'',2,21);
INSERT INTO "climate" VALUES('hill',9,8.0,4.0,'',2,22);
INSERT INTO "climate" VALUES('hill',10,4.0,4.0,'',2,23);
INSERT INTO "climate" VALUES('hill',11,-1.0,4.0,'',2,24);
INSERT INTO "climate" VALUES('hill',12,-4.0,4.0,'',2,25);
CREATE TABLE decisions (
        id INTEGER PRIMARY KEY,
        unit TEXT NOT NULL REFERENCES units(unit),
        iso_week TEXT NOT NULL CHECK (iso_week GLOB '[0-9][0-9][0-9][0-9]-W[0-9][0-9]'),
        kind TEXT NOT NULL CHECK (kind IN ('accepted', 'measure', 'postponed', 'nothing_found')),
        reason TEXT NOT NULL DEFAULT '',
        until TEXT CHECK (length(until) = 10),
        by TEXT NOT NULL,
        at TEXT NOT NULL
    ) STRICT;
INSERT INTO "decisions" VALUES(1,'K-101','2024-W22','nothing_found','',NULL,'Mia','2024-06-01T12:00:00');
CREATE TABLE devices (
        device TEXT PRIMARY KEY CHECK (length(device) BETWEEN 1 AND 128),
        units TEXT NOT NULL CHECK (json_valid(units)),
        at TEXT NOT NULL
    ) STRICT;
CREATE TABLE forecast (
        depot TEXT NOT NULL,
        date TEXT NOT NULL CHECK (length(date) = 10),
        low_c REAL NOT NULL,
        extra TEXT NOT NULL DEFAULT '',
        origin_id INTEGER NOT NULL REFERENCES origins(id),
        line INTEGER,
        PRIMARY KEY (depot, date)
    ) STRICT;
INSERT INTO "forecast" VALUES('hill','2024-06-02',3.0,'',7,2);
CREATE TABLE origins (
        id INTEGER PRIMARY KEY,
        kind TEXT NOT NULL CHECK (kind IN ('file', 'entry', 'correction')),
        by TEXT NOT NULL,
        at TEXT NOT NULL,
        file TEXT NOT NULL DEFAULT '',
        sha256 TEXT NOT NULL DEFAULT '',
        source TEXT NOT NULL DEFAULT '',
        entry_id TEXT UNIQUE,
        counts TEXT NOT NULL DEFAULT ''
    ) STRICT;
INSERT INTO "origins" VALUES(1,'file','import','2024-06-01T12:00:00','units.csv','cd52ae499e027efc4532795bc06a9ef3623f95d63b0cb4b0ff0def56e819def1','',NULL,'rows 3, stored 3, known 0, set aside 0');
INSERT INTO "origins" VALUES(2,'file','import','2024-06-01T12:00:00','climate.csv','518280088aa993914f94eab8019ff2db9a4004535e84d572c9de17b8dc6900ff','',NULL,'rows 24, stored 24, known 0, set aside 0');
INSERT INTO "origins" VALUES(3,'file','import','2024-06-01T12:00:00','repairs.csv','ec043dc2fadf6bebaae90d429208a27b20ed5b24627a4396e73eaf4c4d7bf6a0','',NULL,'rows 2, stored 2, known 0, set aside 0');
INSERT INTO "origins" VALUES(4,'file','import','2024-06-01T12:00:00','services.csv','c18210c3bc3b99807fd14b6c8ec72f840999925412bb3a9dd0f45eaee05e83f0','',NULL,'rows 1, stored 1, known 0, set aside 0');
INSERT INTO "origins" VALUES(5,'file','import','2024-06-01T12:00:00','workshops.csv','7b933a1e05b5b3cf2b97bcfd01576dd3b837d4cc4059e8adaab37b4f2c2f0b68','',NULL,'rows 2, stored 2, known 0, set aside 0');
INSERT INTO "origins" VALUES(6,'file','import','2024-06-01T12:00:00','parts.csv','5418c4a08ad2761762f87e3902666d5ed8cb19eea3a9ebf377d000ed60614662','',NULL,'rows 1, stored 1, known 0, set aside 0');
INSERT INTO "origins" VALUES(7,'file','import','2024-06-01T12:00:00','forecast.csv','e00c4d495376e5f7d5651f3f126c58926060ecc0630318b6ada9f47e21010898','',NULL,'rows 1, stored 1, known 0, set aside 0');
INSERT INTO "origins" VALUES(8,'file','import','2024-06-01T12:00:00','readings.csv','be0cbb1dbfeb6b3fe0f700fc3c44e66905468d39eb049b73aa4885ae47db45a1','',NULL,'rows 10, stored 9, known 0, set aside 1');
INSERT INTO "origins" VALUES(9,'file','import','2024-06-01T12:00:00','c2.csv','cee170b9b7bcbe977938d031ccc4c7c3d04ca5d48f3cbe8add958235c08ea267','',NULL,'rows 24, stored 1, known 23, set aside 0');
INSERT INTO "origins" VALUES(10,'entry','Ada','2024-06-01T12:00:00','','','',NULL,'');
INSERT INTO "origins" VALUES(11,'correction','Ada','2024-06-01T12:00:00','readings.csv','','',NULL,'');
CREATE TABLE parts (
        part TEXT PRIMARY KEY CHECK (part IN ('battery', 'positive_cable', 'ground_path', 'solenoid_contacts', 'starter_motor', 'control_circuit', 'engine_drag')),
        price REAL CHECK (price >= 0),
        labour_h REAL CHECK (labour_h >= 0),
        lead_days REAL CHECK (lead_days >= 0),
        extra TEXT NOT NULL DEFAULT '',
        origin_id INTEGER NOT NULL REFERENCES origins(id),
        line INTEGER
    ) STRICT;
INSERT INTO "parts" VALUES('battery',120.0,0.5,2.0,'',6,2);
CREATE TABLE plan_pins (
        id INTEGER PRIMARY KEY,
        unit TEXT NOT NULL REFERENCES units(unit),
        part TEXT NOT NULL DEFAULT '',
        kind TEXT NOT NULL CHECK (kind IN ('pin', 'forbid', 'move')),
        week TEXT NOT NULL CHECK (week GLOB '[0-9][0-9][0-9][0-9]-W[0-9][0-9]'),
        reason TEXT NOT NULL DEFAULT '',
        by TEXT NOT NULL,
        at TEXT NOT NULL,
        UNIQUE (unit, part, kind, week)
    ) STRICT;
CREATE TABLE plans (
        version INTEGER PRIMARY KEY,
        made_at TEXT NOT NULL,
        by TEXT NOT NULL,
        as_of TEXT NOT NULL,
        weeks INTEGER NOT NULL CHECK (weeks > 0),
        body TEXT NOT NULL CHECK (json_valid(body)),
        note TEXT NOT NULL DEFAULT ''
    ) STRICT;
CREATE TABLE readings (
        reading_id INTEGER PRIMARY KEY,
        unit TEXT NOT NULL REFERENCES units(unit),
        taken_at TEXT NOT NULL CHECK (length(taken_at) = 19),
        odometer_km REAL CHECK (odometer_km BETWEEN 0.0 AND 5000000.0),
        temperature_c REAL CHECK (temperature_c BETWEEN -50.0 AND 60.0),
        rest_v REAL CHECK (rest_v BETWEEN 3.0 AND 32.0),
        crank_min_v REAL CHECK (crank_min_v BETWEEN 1.5 AND 30.0),
        crank_a REAL CHECK (crank_a BETWEEN 0.0 AND 2500.0),
        peak_a REAL CHECK (peak_a BETWEEN 0.0 AND 5000.0),
        drop_positive_v REAL CHECK (drop_positive_v BETWEEN -0.02 AND 32.0),
        drop_ground_v REAL CHECK (drop_ground_v BETWEEN -0.02 AND 32.0),
        drop_contacts_v REAL CHECK (drop_contacts_v BETWEEN -0.02 AND 32.0),
        drop_control_v REAL CHECK (drop_control_v BETWEEN -0.02 AND 32.0),
        coil_a REAL CHECK (coil_a BETWEEN 0.0 AND 150.0),
        crank_rpm REAL CHECK (crank_rpm BETWEEN 0.0 AND 600.0),
        control_loaded_v REAL CHECK (control_loaded_v BETWEEN -0.02 AND 32.0),
        coil_loaded_v REAL CHECK (coil_loaded_v BETWEEN -0.02 AND 32.0),
        coil_alone_v REAL CHECK (coil_alone_v BETWEEN -0.02 AND 32.0),
        charging_v REAL CHECK (charging_v BETWEEN 3.0 AND 40.0),
        crank_s REAL CHECK (crank_s BETWEEN 0.0 AND 120.0),
        outcome TEXT NOT NULL DEFAULT '' CHECK (outcome IN ('', 'started', 'slow', 'no_start')),
        jumper_start TEXT NOT NULL DEFAULT '' CHECK (jumper_start IN ('', 'cranks', 'no_crank', 'fuse_opens')),
        technician TEXT NOT NULL DEFAULT '',
        instrument TEXT NOT NULL DEFAULT '',
        note TEXT NOT NULL DEFAULT '',
        remark TEXT NOT NULL DEFAULT '',
        extra TEXT NOT NULL DEFAULT '',
        doubtful TEXT NOT NULL DEFAULT '',
        doubt_reason TEXT NOT NULL DEFAULT '',
        origin_id INTEGER NOT NULL REFERENCES origins(id),
        line INTEGER,
        UNIQUE (unit, taken_at)
    ) STRICT;
INSERT INTO "readings" VALUES(1,'K-101','2023-01-03T08:15:00',80900.0,-2.5,12.6,11.4,170.0,480.0,0.11,0.09,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,'started','','','','it''s "cold"','','','','',8,2);
INSERT INTO "readings" VALUES(2,'K-101','2023-03-01T08:15:00',82700.0,7.5,12.6,11.4,170.0,480.0,0.11,0.09,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,'started','','','','it''s "cold"','','','','',8,3);
INSERT INTO "readings" VALUES(3,'K-101','2023-05-02T08:15:00',84500.0,12.0,12.6,11.4,170.0,480.0,0.11,0.09,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,'no_start','','','','it''s "cold"','','','','',8,4);
INSERT INTO "readings" VALUES(4,'K-102','2023-01-03T08:15:00',80900.0,-2.5,12.6,11.4,170.0,480.0,0.11,0.09,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,'started','','','','it''s "cold"','','','','',8,5);
INSERT INTO "readings" VALUES(5,'K-102','2023-03-01T08:15:00',82700.0,7.5,12.6,11.4,170.0,480.0,0.11,0.09,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,'started','','','','it''s "cold"','','','','',8,6);
INSERT INTO "readings" VALUES(6,'K-102','2023-05-02T08:15:00',84500.0,12.0,12.6,11.4,170.0,480.0,0.11,0.09,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,'no_start','','','','it''s "cold"','','','','',8,7);
INSERT INTO "readings" VALUES(7,'K-201','2023-01-03T08:15:00',80900.0,-2.5,25.2,22.9,300.0,800.0,0.11,0.09,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,'started','','','','it''s "cold"','','','','',8,8);
INSERT INTO "readings" VALUES(8,'K-201','2023-03-01T08:15:00',82700.0,7.5,25.2,22.9,300.0,800.0,0.11,0.09,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,'started','','','','it''s "cold"','','','','',8,9);
INSERT INTO "readings" VALUES(9,'K-201','2023-05-02T08:15:00',84500.0,12.0,25.2,22.9,300.0,800.0,0.11,0.09,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,'no_start','','','','it''s "cold"','','','','',8,10);
INSERT INTO "readings" VALUES(10,'K-102','2023-07-01T07:30:00',NULL,NULL,12.5,11.1,165.0,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,'','','','','','','','','',10,1);
INSERT INTO "readings" VALUES(11,'K-101','2023-06-01T08:00:00',86000.0,12.0,12.6,11.4,169.0,480.0,0.1,0.1,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,'','','','','','','','','',11,11);
CREATE TABLE repairs (
        repair_id INTEGER PRIMARY KEY,
        unit TEXT NOT NULL REFERENCES units(unit),
        done_on TEXT NOT NULL CHECK (length(done_on) = 10),
        part TEXT NOT NULL CHECK (part IN ('battery', 'positive_cable', 'ground_path', 'solenoid_contacts', 'starter_motor', 'control_circuit', 'engine_drag')),
        action TEXT NOT NULL,
        reason TEXT NOT NULL DEFAULT '',
        note TEXT NOT NULL DEFAULT '',
        extra TEXT NOT NULL DEFAULT '',
        origin_id INTEGER NOT NULL REFERENCES origins(id),
        line INTEGER,
        UNIQUE (unit, done_on, part, action)
    ) STRICT;
INSERT INTO "repairs" VALUES(1,'K-101','2023-02-01','battery','replaced','no_start','','',3,2);
INSERT INTO "repairs" VALUES(2,'K-201','2023-04-01','ground_path','cleaned','preventive','','',3,3);
CREATE TABLE reset_answers (
        unit TEXT NOT NULL REFERENCES units(unit),
        part TEXT NOT NULL CHECK (part IN ('battery', 'positive_cable', 'ground_path', 'solenoid_contacts', 'starter_motor', 'control_circuit', 'engine_drag')),
        around_on TEXT NOT NULL CHECK (length(around_on) = 10),
        answer TEXT NOT NULL CHECK (answer IN ('confirmed', 'denied')),
        by TEXT NOT NULL,
        at TEXT NOT NULL,
        PRIMARY KEY (unit, part, around_on)
    ) STRICT;
CREATE TABLE services (
        unit TEXT NOT NULL REFERENCES units(unit),
        due_on TEXT NOT NULL CHECK (length(due_on) = 10),
        extra TEXT NOT NULL DEFAULT '',
        origin_id INTEGER NOT NULL REFERENCES origins(id),
        line INTEGER,
        PRIMARY KEY (unit, due_on)
    ) STRICT;
INSERT INTO "services" VALUES('K-101','2024-07-01','',4,2);
CREATE TABLE set_aside (
        id INTEGER PRIMARY KEY,
        state TEXT NOT NULL DEFAULT 'open' CHECK (state IN ('open', 'corrected', 'dismissed', 'admitted')),
        table_name TEXT NOT NULL,
        file TEXT NOT NULL,
        sheet TEXT NOT NULL DEFAULT '',
        line INTEGER NOT NULL,
        reason TEXT NOT NULL,
        original TEXT NOT NULL,
        cells TEXT NOT NULL,
        fingerprint TEXT NOT NULL UNIQUE,
        unit TEXT NOT NULL DEFAULT '',
        source TEXT NOT NULL DEFAULT '',
        origin_id INTEGER NOT NULL REFERENCES origins(id),
        resolved_at TEXT,
        resolved_by TEXT,
        resolution TEXT NOT NULL DEFAULT ''
    ) STRICT;
INSERT INTO "set_aside" VALUES(1,'corrected','readings','readings.csv','',11,'crank_a is 9999 A; allowed on a 12 V system is 0 to 2000 A (decimal point misplaced? 999.9 would fit); inrush (peak_a) 480 A is below the steady amps (crank_a) 9999 A; allowed is at least the steady amps (swapped?)','K-101,2023-06-01T08:00,86000,12,12.6,11.4,9999,480,0.1,0.1,,','{"unit": "K-101", "taken_at": "2023-06-01T08:00:00", "odometer_km": 86000.0, "temperature_c": 12.0, "rest_v": 12.6, "crank_min_v": 11.4, "crank_a": 9999.0, "peak_a": 480.0, "drop_positive_v": 0.1, "drop_ground_v": 0.1}','b1ad83473c368ff483f6cb5844702b3fff95196fcedc8b7d6054fc7da62588e1','K-101','',8,'2024-06-01T12:00:00','Ada','stored as crank_a 169');
CREATE TABLE set_aside_attempts (
        id INTEGER PRIMARY KEY,
        set_aside_id INTEGER NOT NULL REFERENCES set_aside(id),
        at TEXT NOT NULL,
        by TEXT NOT NULL,
        changes TEXT NOT NULL,
        result TEXT NOT NULL
    ) STRICT;
INSERT INTO "set_aside_attempts" VALUES(1,1,'2024-06-01T12:00:00','Ada','{"crank_a": "169"}','stored');
CREATE TABLE settings (
        key TEXT PRIMARY KEY,
        value TEXT NOT NULL CHECK (json_valid(value)),
        by TEXT NOT NULL,
        at TEXT NOT NULL
    ) STRICT;
INSERT INTO "settings" VALUES('tolerated_false_flags','4','Mia','2024-06-01T12:00:00');
CREATE TABLE sources (
        name TEXT PRIMARY KEY CHECK (length(name) BETWEEN 1 AND 64),
        toml TEXT NOT NULL,
        headings TEXT NOT NULL,
        saved_at TEXT NOT NULL,
        saved_by TEXT NOT NULL
    ) STRICT;
CREATE TABLE units (
        unit TEXT PRIMARY KEY CHECK (length(unit) BETWEEN 1 AND 64),
        vehicle_class TEXT NOT NULL CHECK (length(vehicle_class) BETWEEN 1 AND 64),
        system_v INTEGER NOT NULL CHECK (system_v IN (12, 24)),
        fuel TEXT NOT NULL DEFAULT '',
        cylinders INTEGER CHECK (cylinders BETWEEN 1 AND 24),
        rated_cca_a REAL CHECK (rated_cca_a > 0),
        depot TEXT NOT NULL CHECK (length(depot) BETWEEN 1 AND 64),
        in_service TEXT CHECK (in_service GLOB '[0-9][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9]'),
        extra TEXT NOT NULL DEFAULT '',
        origin_id INTEGER NOT NULL REFERENCES origins(id),
        line INTEGER
    ) STRICT;
INSERT INTO "units" VALUES('K-101','panel_van',12,'diesel',4,760.0,'harbour','2019-03-01','',1,2);
INSERT INTO "units" VALUES('K-102','panel_van',12,'diesel',4,760.0,'harbour','2019-04-01','',1,3);
INSERT INTO "units" VALUES('K-201','tractor',24,'diesel',6,1100.0,'hill','2018-02-01','',1,4);
CREATE TABLE weekly_lists (
        iso_week TEXT PRIMARY KEY CHECK (iso_week GLOB '[0-9][0-9][0-9][0-9]-W[0-9][0-9]'),
        as_of TEXT NOT NULL,
        issued_at TEXT NOT NULL,
        body TEXT NOT NULL CHECK (json_valid(body))
    ) STRICT;
INSERT INTO "weekly_lists" VALUES('2024-W22','2024-05-27','2024-06-01T12:00:00','{"units": [{"unit": "K-101", "part": "battery"}]}');
CREATE TABLE workshops (
        depot TEXT PRIMARY KEY,
        hours_per_week REAL NOT NULL CHECK (hours_per_week >= 0),
        extra TEXT NOT NULL DEFAULT '',
        origin_id INTEGER NOT NULL REFERENCES origins(id),
        line INTEGER
    ) STRICT;
INSERT INTO "workshops" VALUES('harbour',12.0,'',5,2);
INSERT INTO "workshops" VALUES('hill',20.0,'',5,3);
CREATE UNIQUE INDEX "idx__sqlite_migrations_migration_set_name"
    ON "_sqlite_migrations" ("migration_set", "name");
CREATE INDEX set_aside_by_state ON set_aside (state, table_name);
CREATE INDEX audit_by_row ON audit (table_name, row_key);
CREATE INDEX decisions_by_unit ON decisions (unit, at);
COMMIT;
