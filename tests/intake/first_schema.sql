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
PRAGMA user_version = 1;
