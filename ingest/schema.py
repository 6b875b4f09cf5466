"""The tables of the database and the steps by which an older database becomes a current one.

A step says for ever what it said when it came: it holds its words and ranges as text and reads none from `fields`, so
that a new and an old database pass through the same tables. Steps are added at the end.
"""

from sqlite_utils import Database
from sqlite_utils.migrations import Migrations

from ingest.errors import DatabaseRefused

MIGRATION_SET = "cranktrend"
VERSION_DIGITS = 3  # with which the name of a step begins
migrations = Migrations(MIGRATION_SET)


def version_of(db: Database) -> str:
    """The number of the last step that a database has had; "" for a new one."""
    had = [step.name for step in migrations.applied(db)]
    return max(had)[:VERSION_DIGITS] if had else ""


def older_version(db: Database) -> str:
    """The same for a database of an older version; "" for a new one and for a current one."""
    return version_of(db) if migrations.pending(db) else ""


def check_not_newer(db: Database) -> None:
    """Raise DatabaseRefused when a newer program wrote the database."""
    known = {step.name for step in migrations.pending(Database(memory=True))}
    newer = sorted({step.name for step in migrations.applied(db)} - known)
    if newer:
        raise DatabaseRefused(
            f"this database was written by a newer version of cranktrend (it holds the change {newer[0]!r}); "
            "update cranktrend, then open it again"
        )


def migrate(db: Database) -> None:
    """Bring `db` to the current tables, all steps or none; raise DatabaseRefused when a newer program wrote it."""
    check_not_newer(db)
    if not migrations.pending(db):
        return
    db.conn.execute("BEGIN IMMEDIATE")  # two programs that open it at once: the second finds it done
    try:
        migrations.apply(db)
        db.conn.commit()
    except BaseException:
        db.conn.rollback()
        raise


def bring_to(db: Database, version: str) -> None:
    """Give an empty database the tables of a version; raise DatabaseRefused for one that this program does not know."""
    steps = [step.name for step in migrations.pending(db)]
    if version not in [name[:VERSION_DIGITS] for name in steps]:
        raise DatabaseRefused(f"tables of version {version} are not known here; update cranktrend")
    migrations.apply(db, stop_before=next((name for name in steps if name[:VERSION_DIGITS] > version), None))


def _run(db: Database, script: str) -> None:
    """Run each statement on its own: `executescript` would end the transaction it is in."""
    for statement in script.split(";"):
        if statement.strip():
            db.conn.execute(statement)


def _step(name: str, script: str) -> None:
    """The next step, where it is SQL alone."""
    migrations(name=name)(lambda db: _run(db, script))


# fmt: off
# Origins (who or what wrote, from which file), vehicles, readings, repairs, climate, plans and set-aside rows.
_step("001_records", """
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
    CREATE TABLE repairs (
        repair_id INTEGER PRIMARY KEY,
        unit TEXT NOT NULL REFERENCES units(unit),
        done_on TEXT NOT NULL CHECK (length(done_on) = 10),
        part TEXT NOT NULL CHECK (part IN (
            'battery', 'positive_cable', 'ground_path', 'solenoid_contacts', 'starter_motor', 'control_circuit',
            'engine_drag'
        )),
        action TEXT NOT NULL,
        reason TEXT NOT NULL DEFAULT '',
        note TEXT NOT NULL DEFAULT '',
        extra TEXT NOT NULL DEFAULT '',
        origin_id INTEGER NOT NULL REFERENCES origins(id),
        line INTEGER,
        UNIQUE (unit, done_on, part, action)
    ) STRICT;
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
    CREATE TABLE forecast (
        depot TEXT NOT NULL,
        date TEXT NOT NULL CHECK (length(date) = 10),
        low_c REAL NOT NULL,
        extra TEXT NOT NULL DEFAULT '',
        origin_id INTEGER NOT NULL REFERENCES origins(id),
        line INTEGER,
        PRIMARY KEY (depot, date)
    ) STRICT;
    CREATE TABLE services (
        unit TEXT NOT NULL REFERENCES units(unit),
        due_on TEXT NOT NULL CHECK (length(due_on) = 10),
        extra TEXT NOT NULL DEFAULT '',
        origin_id INTEGER NOT NULL REFERENCES origins(id),
        line INTEGER,
        PRIMARY KEY (unit, due_on)
    ) STRICT;
    CREATE TABLE workshops (
        depot TEXT PRIMARY KEY,
        hours_per_week REAL NOT NULL CHECK (hours_per_week >= 0),
        extra TEXT NOT NULL DEFAULT '',
        origin_id INTEGER NOT NULL REFERENCES origins(id),
        line INTEGER
    ) STRICT;
    CREATE TABLE parts (
        part TEXT PRIMARY KEY CHECK (part IN (
            'battery', 'positive_cable', 'ground_path', 'solenoid_contacts', 'starter_motor', 'control_circuit',
            'engine_drag'
        )),
        price REAL CHECK (price >= 0),
        labour_h REAL CHECK (labour_h >= 0),
        lead_days REAL CHECK (lead_days >= 0),
        extra TEXT NOT NULL DEFAULT '',
        origin_id INTEGER NOT NULL REFERENCES origins(id),
        line INTEGER
    ) STRICT;
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
    CREATE INDEX set_aside_by_state ON set_aside (state, table_name);
    CREATE TABLE set_aside_attempts (
        id INTEGER PRIMARY KEY,
        set_aside_id INTEGER NOT NULL REFERENCES set_aside(id),
        at TEXT NOT NULL,
        by TEXT NOT NULL,
        changes TEXT NOT NULL,
        result TEXT NOT NULL
    ) STRICT;
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
    CREATE INDEX audit_by_row ON audit (table_name, row_key);
    CREATE TABLE sources (
        name TEXT PRIMARY KEY CHECK (length(name) BETWEEN 1 AND 64),
        toml TEXT NOT NULL,
        headings TEXT NOT NULL,
        saved_at TEXT NOT NULL,
        saved_by TEXT NOT NULL
    ) STRICT;
""")

# What people decide: weekly lists, decisions, confirmed replacements, plans, settings, devices.
_step("002_work_with_the_list", """
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
    CREATE INDEX decisions_by_unit ON decisions (unit, at);
    CREATE TABLE reset_answers (
        unit TEXT NOT NULL REFERENCES units(unit),
        part TEXT NOT NULL CHECK (part IN (
            'battery', 'positive_cable', 'ground_path', 'solenoid_contacts', 'starter_motor', 'control_circuit',
            'engine_drag'
        )),
        around_on TEXT NOT NULL CHECK (length(around_on) = 10),
        answer TEXT NOT NULL CHECK (answer IN ('confirmed', 'denied')),
        by TEXT NOT NULL,
        at TEXT NOT NULL,
        PRIMARY KEY (unit, part, around_on)
    ) STRICT;
    CREATE TABLE weekly_lists (
        iso_week TEXT PRIMARY KEY CHECK (iso_week GLOB '[0-9][0-9][0-9][0-9]-W[0-9][0-9]'),
        as_of TEXT NOT NULL,
        issued_at TEXT NOT NULL,
        body TEXT NOT NULL CHECK (json_valid(body))
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
    CREATE TABLE settings (
        key TEXT PRIMARY KEY,
        value TEXT NOT NULL CHECK (json_valid(value)),
        by TEXT NOT NULL,
        at TEXT NOT NULL
    ) STRICT;
    CREATE TABLE devices (
        device TEXT PRIMARY KEY CHECK (length(device) BETWEEN 1 AND 128),
        units TEXT NOT NULL CHECK (json_valid(units)),
        at TEXT NOT NULL
    ) STRICT;
""")

# Workshop hours may differ by week: a row without `week_from` is the usual week.
_step("003_hours_by_week", """
    CREATE TABLE workshops_by_week (
        depot TEXT NOT NULL,
        week_from TEXT NOT NULL DEFAULT '' CHECK (length(week_from) IN (0, 10)),
        hours_per_week REAL NOT NULL CHECK (hours_per_week >= 0),
        extra TEXT NOT NULL DEFAULT '',
        origin_id INTEGER NOT NULL REFERENCES origins(id),
        line INTEGER,
        PRIMARY KEY (depot, week_from)
    ) STRICT;
    INSERT INTO workshops_by_week (depot, hours_per_week, extra, origin_id, line)
        SELECT depot, hours_per_week, extra, origin_id, line FROM workshops;
    DROP TABLE workshops;
    ALTER TABLE workshops_by_week RENAME TO workshops
""")

# Figures that took long to work out, kept until what they were made of changes; they can be thrown away.
_step("004_kept_figures", """
    CREATE TABLE kept_figures (
        name TEXT PRIMARY KEY CHECK (length(name) BETWEEN 1 AND 64),
        made_of TEXT NOT NULL,
        body TEXT NOT NULL CHECK (json_valid(body))
    ) STRICT
""")

@migrations(name="005_how_a_start_failed")
def _widen_outcomes(db: Database) -> None:
    """A failed start says how it failed. SQLite changes a check only by making the table again."""
    old = "CHECK (outcome IN ('', 'started', 'slow', 'no_start'))"
    new = (
        "CHECK (outcome IN ('', 'started', 'slow', 'no_start', 'no_click', 'click', 'chatter', 'spins', 'cranks_only'))"
    )
    (sql,) = db.execute("SELECT sql FROM sqlite_master WHERE name = 'readings'").fetchone()
    db.conn.execute(sql.replace(old, new).replace("CREATE TABLE readings", "CREATE TABLE readings_again", 1))
    db.conn.execute("INSERT INTO readings_again SELECT * FROM readings")
    db.conn.execute("DROP TABLE readings")
    db.conn.execute("ALTER TABLE readings_again RENAME TO readings")

# Measurements of a reading that the technician took twice: they count as right, however far off they are.
_step("006_measured_twice", "ALTER TABLE readings ADD COLUMN confirmed TEXT NOT NULL DEFAULT ''")

# Rows that a person withdrew, whole; and from which day on each write changed what was known.
_step("007_withdrawn_rows", """
    CREATE TABLE withdrawn (
        table_name TEXT NOT NULL CHECK (table_name IN ('readings', 'repairs', 'decisions')),
        row_id INTEGER NOT NULL,
        cells TEXT NOT NULL CHECK (json_valid(cells)),
        origin_id INTEGER NOT NULL REFERENCES origins(id),
        PRIMARY KEY (table_name, row_id)
    ) STRICT;
    CREATE TABLE writes (
        id INTEGER PRIMARY KEY,
        table_name TEXT NOT NULL,
        first_on TEXT NOT NULL DEFAULT '' CHECK (length(first_on) IN (0, 10))
    ) STRICT;
    CREATE INDEX readings_by_origin ON readings (origin_id);
    CREATE INDEX audit_by_origin ON audit (origin_id)
""")

# A week's list can be issued again, with a reason; the earlier ones stay.
_step("008_lists_issued_again", """
    CREATE TABLE weekly_lists_again (
        iso_week TEXT NOT NULL CHECK (iso_week GLOB '[0-9][0-9][0-9][0-9]-W[0-9][0-9]'),
        version INTEGER NOT NULL DEFAULT 1 CHECK (version > 0),
        as_of TEXT NOT NULL,
        issued_at TEXT NOT NULL,
        body TEXT NOT NULL CHECK (json_valid(body)),
        by TEXT NOT NULL DEFAULT '',
        reason TEXT NOT NULL DEFAULT '',
        PRIMARY KEY (iso_week, version)
    ) STRICT;
    INSERT INTO weekly_lists_again (iso_week, as_of, issued_at, body)
        SELECT iso_week, as_of, issued_at, body FROM weekly_lists;
    DROP TABLE weekly_lists;
    ALTER TABLE weekly_lists_again RENAME TO weekly_lists
""")

# Feed, tester's load, pull-in and dip of a reading; of a vehicle its batteries, oil, starting aid and fuel.
_step("009_two_windings_and_the_cold", """
    ALTER TABLE readings ADD COLUMN feed_v REAL CHECK (feed_v BETWEEN -0.02 AND 32.0);
    ALTER TABLE readings ADD COLUMN tester_load_ohm REAL CHECK (tester_load_ohm BETWEEN 0.1 AND 1000.0);
    ALTER TABLE readings ADD COLUMN pull_in_a REAL CHECK (pull_in_a BETWEEN 0.0 AND 300.0);
    ALTER TABLE readings ADD COLUMN crank_dip_v REAL CHECK (crank_dip_v BETWEEN 0.5 AND 30.0);
    ALTER TABLE units ADD COLUMN battery_type TEXT NOT NULL DEFAULT ''
        CHECK (battery_type IN ('', 'flooded', 'EFB', 'AGM'));
    ALTER TABLE units ADD COLUMN batteries INTEGER CHECK (batteries BETWEEN 1 AND 12);
    ALTER TABLE units ADD COLUMN in_parallel TEXT NOT NULL DEFAULT '' CHECK (in_parallel IN ('', 'yes', 'no'));
    ALTER TABLE units ADD COLUMN oil_grade TEXT NOT NULL DEFAULT '' CHECK (length(oil_grade) <= 8);
    ALTER TABLE units ADD COLUMN starting_aid TEXT NOT NULL DEFAULT ''
        CHECK (starting_aid IN ('', 'none', 'intake_heater', 'block_heater'));
    ALTER TABLE units ADD COLUMN fuel_limit_c REAL CHECK (fuel_limit_c BETWEEN -60.0 AND 20.0)
""")

# Figures that were only looked at lie beside the database, not in it.
_step("010_no_figures_kept", "DROP TABLE kept_figures")

# Lows that were measured, day by day: a depot's climate and the shape of its winters are learned from them.
_step("011_daily_lows", """
    CREATE TABLE lows (
        depot TEXT NOT NULL,
        date TEXT NOT NULL CHECK (length(date) = 10),
        low_c REAL NOT NULL,
        extra TEXT NOT NULL DEFAULT '',
        origin_id INTEGER NOT NULL REFERENCES origins(id),
        line INTEGER,
        PRIMARY KEY (depot, date)
    ) STRICT
""")

# Every write has a token that no other write has; the first stands for all that was there before.
_step("012_tokens_of_writes", """
    ALTER TABLE writes ADD COLUMN token TEXT NOT NULL DEFAULT '';
    INSERT INTO writes (table_name) VALUES ('units');
    UPDATE writes SET token = lower(hex(randomblob(8)))
""")

# Whether the lowest volts of a reading are an upper bound only, because they were sampled slowly.
_step("013_what_the_lowest_volts_are", "ALTER TABLE readings ADD COLUMN lowest_is TEXT NOT NULL DEFAULT '' CHECK (lowest_is IN ('', 'sampled'))")

# Of a vehicle: the cold below which its starting aid works, and the amps that it takes while cranking.
_step("014_load_of_a_starting_aid", """
    ALTER TABLE units ADD COLUMN aid_below_c REAL CHECK (aid_below_c BETWEEN -40.0 AND 30.0);
    ALTER TABLE units ADD COLUMN aid_load_a REAL CHECK (aid_load_a BETWEEN 0.0 AND 400.0)
""")

# Planned visits that were reported as done; what is taken back of them is kept as other withdrawn rows are.
_step("015_visits_that_were_done", """
    CREATE TABLE visits (
        visit_id INTEGER PRIMARY KEY,
        uid TEXT NOT NULL UNIQUE CHECK (length(uid) BETWEEN 1 AND 128),
        unit TEXT NOT NULL REFERENCES units(unit),
        planned_on TEXT NOT NULL CHECK (length(planned_on) = 10),
        part TEXT NOT NULL DEFAULT '' CHECK (part IN (
            '', 'battery', 'positive_cable', 'ground_path', 'solenoid_contacts', 'starter_motor', 'control_circuit',
            'engine_drag'
        )),
        job TEXT NOT NULL DEFAULT '',
        hours REAL NOT NULL DEFAULT 0 CHECK (hours >= 0),
        done_on TEXT NOT NULL CHECK (length(done_on) = 10),
        found TEXT NOT NULL CHECK (found IN ('worn', 'sound', 'other', 'not_known')),
        other_part TEXT NOT NULL DEFAULT '' CHECK (other_part IN (
            '', 'battery', 'positive_cable', 'ground_path', 'solenoid_contacts', 'starter_motor', 'control_circuit',
            'engine_drag'
        )),
        note TEXT NOT NULL DEFAULT '',
        origin_id INTEGER NOT NULL REFERENCES origins(id)
    ) STRICT;
    CREATE TABLE withdrawn_again (
        table_name TEXT NOT NULL CHECK (table_name IN ('readings', 'repairs', 'decisions', 'visits')),
        row_id INTEGER NOT NULL,
        cells TEXT NOT NULL CHECK (json_valid(cells)),
        origin_id INTEGER NOT NULL REFERENCES origins(id),
        PRIMARY KEY (table_name, row_id)
    ) STRICT;
    INSERT INTO withdrawn_again SELECT * FROM withdrawn;
    DROP TABLE withdrawn;
    ALTER TABLE withdrawn_again RENAME TO withdrawn
""")

# On which days of the week a depot's workshop works, as shares of the week's hours, and from when to when it is closed.
_step("016_days_of_workshops", """
    CREATE TABLE workshop_days (
        depot TEXT NOT NULL CHECK (length(depot) BETWEEN 1 AND 64),
        weekday INTEGER NOT NULL CHECK (weekday BETWEEN 1 AND 7),
        share REAL NOT NULL CHECK (share >= 0 AND share <= 1),
        origin_id INTEGER NOT NULL REFERENCES origins(id),
        PRIMARY KEY (depot, weekday)
    ) STRICT;
    CREATE TABLE closures (
        depot TEXT NOT NULL CHECK (length(depot) <= 64),
        from_on TEXT NOT NULL CHECK (length(from_on) = 10),
        to_on TEXT NOT NULL CHECK (length(to_on) = 10 AND to_on >= from_on),
        why TEXT NOT NULL DEFAULT '' CHECK (length(why) <= 200),
        origin_id INTEGER NOT NULL REFERENCES origins(id),
        PRIMARY KEY (depot, from_on, to_on)
    ) STRICT
""")

# Which list was mailed to whom, so that nobody gets it twice; 'sending' while it is on its way.
_step("017_posts_that_were_sent", """
    CREATE TABLE posts (
        iso_week TEXT NOT NULL CHECK (iso_week GLOB '[0-9][0-9][0-9][0-9]-W[0-9][0-9]'),
        version INTEGER NOT NULL CHECK (version > 0),
        depot TEXT NOT NULL DEFAULT '',
        recipient TEXT NOT NULL CHECK (length(recipient) BETWEEN 3 AND 254),
        state TEXT NOT NULL CHECK (state IN ('sending', 'sent')),
        at TEXT NOT NULL,
        PRIMARY KEY (iso_week, version, depot, recipient)
    ) STRICT
""")

# The repairs of a visit are found without reading all of them.
_step("018_repairs_by_origin", "CREATE INDEX repairs_by_origin ON repairs (origin_id)")

# How many rows of each table an import left under its origin, so that they can be counted again.
_step("019_rows_of_files", "ALTER TABLE origins ADD COLUMN kept TEXT NOT NULL DEFAULT ''")

# Which account has which roles on the screens, and the secrets that windscreen codes were signed with; the last one holds.
_step("020_who_may_do_what", """
    CREATE TABLE accounts (
        account TEXT NOT NULL CHECK (length(account) BETWEEN 1 AND 64),
        role TEXT NOT NULL CHECK (role IN ('technician', 'planner', 'manager', 'administrator')),
        by TEXT NOT NULL,
        at TEXT NOT NULL,
        PRIMARY KEY (account, role)
    ) STRICT;
    CREATE TABLE code_secrets (
        id INTEGER PRIMARY KEY,
        secret TEXT NOT NULL CHECK (length(secret) = 64),
        by TEXT NOT NULL,
        at TEXT NOT NULL
    ) STRICT
""")

# Of a vehicle that was sold or scrapped: its last day in service.
_step("021_last_day_in_service", """
    ALTER TABLE units ADD COLUMN out_of_service TEXT
        CHECK (out_of_service GLOB '[0-9][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9]')
""")
# fmt: on
