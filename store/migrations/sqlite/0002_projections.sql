-- +goose Up
-- What pages read. Every row here follows from the ledger alone and is made anew by Rebuild.
-- Dates are YYYY-MM-DD, inclusive, '' where open. Times are UTC, milliseconds since 1970. idx is an entry's index.

-- One row an entry: what entries are looked for by, and the hash of the leaf.
CREATE TABLE entry_index (
    idx         INTEGER PRIMARY KEY,
    id          TEXT NOT NULL UNIQUE,
    leaf_sha256 BLOB NOT NULL, -- 32 bytes
    type        TEXT NOT NULL,
    actor       TEXT NOT NULL,
    subject     TEXT NOT NULL,
    site        TEXT NOT NULL,
    task        TEXT NOT NULL, -- of a correction: the corrected entry's
    corrects    TEXT NOT NULL,
    happened_at INTEGER NOT NULL, -- ms
    recorded_at INTEGER NOT NULL  -- ms
) STRICT;
CREATE INDEX entry_index_subject ON entry_index (subject, idx);
CREATE INDEX entry_index_actor ON entry_index (actor, idx);
CREATE INDEX entry_index_type ON entry_index (type, idx);
CREATE INDEX entry_index_task ON entry_index (task, idx);

-- The programme's own data, from the opening: one row.
CREATE TABLE founding (
    entry_id TEXT NOT NULL PRIMARY KEY,
    origin   TEXT NOT NULL,
    title    TEXT NOT NULL,
    zone     TEXT NOT NULL,
    founder  TEXT NOT NULL,
    demo     INTEGER NOT NULL CHECK (demo IN (0, 1))
) STRICT;

CREATE TABLE people (
    id          TEXT NOT NULL PRIMARY KEY,
    idx         INTEGER NOT NULL, -- of the entry that added the person
    name_entry  TEXT NOT NULL,    -- entry whose personal field "name" is the name now
    login_entry TEXT NOT NULL,    -- entry whose personal field "login" is the log-in name now
    data_key    TEXT NOT NULL,    -- content hash of the wrapped data key
    password    TEXT NOT NULL,    -- content hash of the PHC string, '' if none
    added_at    INTEGER NOT NULL  -- ms
) STRICT;

CREATE TABLE roles (
    entry_id   TEXT NOT NULL PRIMARY KEY,
    idx        INTEGER NOT NULL,
    person_id  TEXT NOT NULL,
    role       TEXT NOT NULL CHECK (role IN ('apprentice', 'supervisor', 'coordinator')),
    from_date  TEXT NOT NULL,
    until_date TEXT NOT NULL, -- as it stands after an ending
    site_id    TEXT NOT NULL, -- '' all sites
    author     INTEGER NOT NULL CHECK (author IN (0, 1)),
    ended_by   TEXT NOT NULL  -- entry, '' if none
) STRICT;
CREATE INDEX roles_person ON roles (person_id, idx);

CREATE TABLE appointments (
    entry_id   TEXT NOT NULL PRIMARY KEY,
    idx        INTEGER NOT NULL,
    person_id  TEXT NOT NULL,
    task       TEXT NOT NULL,
    site_id    TEXT NOT NULL, -- '' all sites
    from_date  TEXT NOT NULL,
    until_date TEXT NOT NULL,
    ended_by   TEXT NOT NULL
) STRICT;
CREATE INDEX appointments_person ON appointments (person_id, idx);

CREATE TABLE sites (
    id   TEXT NOT NULL PRIMARY KEY,
    idx  INTEGER NOT NULL,
    name TEXT NOT NULL,
    zone TEXT NOT NULL
) STRICT;

CREATE TABLE cohorts (
    id      TEXT NOT NULL PRIMARY KEY,
    idx     INTEGER NOT NULL,
    name    TEXT NOT NULL,
    site_id TEXT NOT NULL
) STRICT;

CREATE TABLE memberships (
    entry_id   TEXT NOT NULL PRIMARY KEY,
    idx        INTEGER NOT NULL,
    person_id  TEXT NOT NULL,
    cohort_id  TEXT NOT NULL,
    from_date  TEXT NOT NULL,
    until_date TEXT NOT NULL,
    ended_by   TEXT NOT NULL
) STRICT;
CREATE INDEX memberships_person ON memberships (person_id, idx);

CREATE TABLE agreements (
    entry_id   TEXT NOT NULL PRIMARY KEY,
    idx        INTEGER NOT NULL,
    person_id  TEXT NOT NULL,
    from_date  TEXT NOT NULL,
    until_date TEXT NOT NULL,
    ended_by   TEXT NOT NULL
) STRICT;
CREATE INDEX agreements_person ON agreements (person_id, idx);

CREATE TABLE leaves (
    entry_id   TEXT NOT NULL PRIMARY KEY,
    idx        INTEGER NOT NULL,
    person_id  TEXT NOT NULL,
    from_date  TEXT NOT NULL,
    to_date    TEXT NOT NULL,
    withdrawn_by TEXT NOT NULL -- correction, '' if none
) STRICT;
CREATE INDEX leaves_person ON leaves (person_id, idx);

CREATE TABLE signing_keys (
    id         TEXT NOT NULL PRIMARY KEY,
    idx        INTEGER NOT NULL,
    person_id  TEXT NOT NULL,
    alg        TEXT NOT NULL,
    public     BLOB NOT NULL, -- 32 bytes
    sealed     TEXT NOT NULL, -- content hash, '' once ended
    added_at   INTEGER NOT NULL, -- ms
    ended_at   INTEGER NOT NULL, -- ms, 0 while in force
    ended_why  TEXT NOT NULL
) STRICT;
CREATE INDEX signing_keys_person ON signing_keys (person_id, idx);

-- Content that is named by an entry but has been removed since: old password hashes, sealed keys that ended.
CREATE TABLE superseded (
    hash     TEXT NOT NULL PRIMARY KEY,
    by_entry TEXT NOT NULL
) STRICT;
CREATE INDEX superseded_by ON superseded (by_entry);

CREATE TABLE adoptions (
    entry_id         TEXT NOT NULL PRIMARY KEY,
    idx              INTEGER NOT NULL UNIQUE,
    edition          TEXT NOT NULL, -- content hash of the list of files
    adopted_by       TEXT NOT NULL,
    recorded_at      INTEGER NOT NULL, -- ms
    backdating_days  INTEGER NOT NULL -- of its policy
) STRICT;

CREATE TABLE parameters (
    entry_id    TEXT NOT NULL PRIMARY KEY,
    idx         INTEGER NOT NULL UNIQUE,
    hash        TEXT NOT NULL, -- content
    recorded_at INTEGER NOT NULL -- ms
) STRICT;

CREATE TABLE tests (
    id           TEXT NOT NULL PRIMARY KEY, -- entry
    idx          INTEGER NOT NULL,
    apprentice   TEXT NOT NULL,
    task         TEXT NOT NULL,
    blueprint    TEXT NOT NULL,
    form         TEXT NOT NULL, -- content hash
    programme    TEXT NOT NULL, -- edition
    issued_at    INTEGER NOT NULL, -- ms
    handed_in    TEXT NOT NULL, -- entry, '' while open
    handed_in_at INTEGER NOT NULL, -- ms, 0 while open
    watched_by   TEXT NOT NULL,
    answers      TEXT NOT NULL, -- content hash
    marks        TEXT NOT NULL, -- content hash
    percent      INTEGER NOT NULL,
    passed       INTEGER NOT NULL CHECK (passed IN (0, 1))
) STRICT;
CREATE INDEX tests_apprentice ON tests (apprentice, idx);

-- Evidence as readiness reads it: one JSON object a row, in the order of the ledger.
CREATE TABLE evidence (
    idx        INTEGER NOT NULL,
    part       INTEGER NOT NULL, -- from 0: a theory test makes two records
    entry_id   TEXT NOT NULL,
    apprentice TEXT NOT NULL,
    type       TEXT NOT NULL,
    record     TEXT NOT NULL, -- JSON
    PRIMARY KEY (idx, part)
) STRICT;
CREATE INDEX evidence_apprentice ON evidence (apprentice, idx, part);

CREATE TABLE signed_jobs (
    job_id   TEXT NOT NULL PRIMARY KEY,
    entry_id TEXT NOT NULL
) STRICT;

CREATE TABLE stand_downs (
    entry_id   TEXT NOT NULL PRIMARY KEY,
    idx        INTEGER NOT NULL,
    apprentice TEXT NOT NULL,
    task       TEXT NOT NULL, -- '' all tasks
    ordered_by TEXT NOT NULL,
    signed_by_entry TEXT NOT NULL -- the entry that carries the signature, '' while unsigned
) STRICT;
CREATE INDEX stand_downs_apprentice ON stand_downs (apprentice, idx);

CREATE TABLE restores (
    entry_id   TEXT NOT NULL PRIMARY KEY,
    idx        INTEGER NOT NULL,
    apprentice TEXT NOT NULL,
    task       TEXT NOT NULL
) STRICT;
CREATE INDEX restores_apprentice ON restores (apprentice, idx);

CREATE TABLE disputes (
    entry_id    TEXT NOT NULL PRIMARY KEY,
    idx         INTEGER NOT NULL,
    disputed    TEXT NOT NULL, -- entry
    disputed_by TEXT NOT NULL,
    settled_by  TEXT NOT NULL  -- settlement, '' while open
) STRICT;
CREATE INDEX disputes_disputed ON disputes (disputed, idx);
