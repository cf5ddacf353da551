//! The schema, as it grew. Entries are added and never changed: a file of any earlier version is brought up to date by
//! those it has not seen.

/// One entry per schema version, run in order at start, each in its own transaction.
pub(crate) const MIGRATIONS: &[&str] = &[
    "
    CREATE TABLE journal (
        seq         INTEGER PRIMARY KEY AUTOINCREMENT,
        shop        TEXT    NOT NULL,
        kind        TEXT    NOT NULL,
        happened_ms INTEGER NOT NULL,
        recorded_ms INTEGER NOT NULL,
        by_whom     TEXT    NOT NULL,
        body        TEXT    NOT NULL
    ) STRICT;
    CREATE TABLE reading (
        zone        TEXT    NOT NULL,
        at_ms       INTEGER NOT NULL,
        recorded_ms INTEGER NOT NULL,
        n           INTEGER NOT NULL,
        temp_c      REAL    NOT NULL,
        rh_pct      REAL    NOT NULL,
        PRIMARY KEY (zone, at_ms, recorded_ms, n)
    ) STRICT, WITHOUT ROWID;
    CREATE TABLE answer (
        key         TEXT    NOT NULL PRIMARY KEY,
        fingerprint TEXT    NOT NULL,
        status      INTEGER NOT NULL,
        body        TEXT    NOT NULL,
        recorded_ms INTEGER NOT NULL
    ) STRICT, WITHOUT ROWID;
    CREATE TABLE delivery (
        id          INTEGER PRIMARY KEY AUTOINCREMENT,
        alert       TEXT    NOT NULL,
        channel     TEXT    NOT NULL,
        body        TEXT    NOT NULL,
        attempts    INTEGER NOT NULL DEFAULT 0,
        since_ms    INTEGER NOT NULL,
        due_ms      INTEGER NOT NULL,
        state       TEXT    NOT NULL DEFAULT 'waiting' CHECK (state IN ('waiting', 'delivered', 'given_up')),
        error       TEXT
    ) STRICT;
    CREATE INDEX delivery_waiting ON delivery (due_ms) WHERE state = 'waiting';
    CREATE INDEX delivery_of_alert ON delivery (alert);
    CREATE TABLE run (
        job         TEXT    NOT NULL,
        at_ms       INTEGER NOT NULL,
        error       TEXT,
        PRIMARY KEY (job, at_ms)
    ) STRICT, WITHOUT ROWID;
",
    // 2: readings name their sensor; what cannot be believed is held.
    "
    ALTER TABLE reading ADD COLUMN sensor TEXT;
    CREATE TABLE quarantine (
        id          INTEGER PRIMARY KEY AUTOINCREMENT,
        zone        TEXT    NOT NULL,
        sensor      TEXT,
        at_ms       INTEGER NOT NULL,
        recorded_ms INTEGER NOT NULL,
        temp_c      REAL    NOT NULL,
        rh_pct      REAL    NOT NULL,
        by_whom     TEXT    NOT NULL,
        reason      TEXT    NOT NULL,
        detail      TEXT    NOT NULL,
        mend        TEXT    NOT NULL,
        state       TEXT    NOT NULL DEFAULT 'held' CHECK (state IN ('held', 'released', 'discarded')),
        decided_ms  INTEGER
    ) STRICT;
    CREATE UNIQUE INDEX quarantine_once ON quarantine (zone, ifnull(sensor, ''), at_ms, temp_c, rh_pct);
    CREATE INDEX quarantine_of_zone ON quarantine (zone, state, id);
",
    // 3: what is left of old readings.
    "
    CREATE TABLE reading_mean (
        zone        TEXT    NOT NULL,
        from_ms     INTEGER NOT NULL,
        n           INTEGER NOT NULL,
        temp_c      REAL    NOT NULL,
        temp_min_c  REAL    NOT NULL,
        temp_max_c  REAL    NOT NULL,
        rh_pct      REAL    NOT NULL,
        rh_min_pct  REAL    NOT NULL,
        rh_max_pct  REAL    NOT NULL,
        PRIMARY KEY (zone, from_ms)
    ) STRICT, WITHOUT ROWID;
",
    // 4: browsers that asked for push messages; channels whose receiver wants no more.
    "
    CREATE TABLE push_subscription (
        id          TEXT    NOT NULL PRIMARY KEY,
        person      TEXT    NOT NULL,
        endpoint    TEXT    NOT NULL,
        p256dh      TEXT    NOT NULL,
        auth        TEXT    NOT NULL,
        added_ms    INTEGER NOT NULL
    ) STRICT, WITHOUT ROWID;
    CREATE TABLE channel_off (
        channel     TEXT    NOT NULL PRIMARY KEY,
        address     TEXT    NOT NULL,
        since_ms    INTEGER NOT NULL,
        why         TEXT    NOT NULL
    ) STRICT, WITHOUT ROWID;
",
    // 5: who may enter. The index keeps a name to one token, for good: facts say by whom they are by name.
    "
    CREATE TABLE token (
        id          TEXT    NOT NULL PRIMARY KEY,
        name        TEXT    NOT NULL,
        role        TEXT    NOT NULL,
        zones       TEXT    NOT NULL,
        session     INTEGER NOT NULL CHECK (session IN (0, 1)),
        made_ms     INTEGER NOT NULL,
        made_by     TEXT    NOT NULL,
        used_ms     INTEGER,
        revoked_ms  INTEGER,
        revoked_by  TEXT
    ) STRICT, WITHOUT ROWID;
    CREATE UNIQUE INDEX token_name ON token (name) WHERE session = 0;
",
    // 6: photos, and the keys the shop made for itself. Large rows do not belong into a table without rowids.
    "
    CREATE TABLE file (
        name        TEXT    NOT NULL PRIMARY KEY,
        bytes       BLOB    NOT NULL
    ) STRICT;
",
];
