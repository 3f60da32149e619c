-- +goose Up
-- What is not in the ledger: drafts, log-in, caches, bookkeeping. Times are UTC, milliseconds since 1970, 0 for none.

CREATE TABLE jobs (
    id          TEXT NOT NULL PRIMARY KEY,
    apprentice  TEXT NOT NULL,
    task        TEXT NOT NULL,
    supervisor  TEXT NOT NULL, -- who watches now, '' while waiting
    vehicle     TEXT NOT NULL,
    programme   TEXT NOT NULL, -- edition
    site_id     TEXT NOT NULL,
    bay         TEXT NOT NULL,
    setting     TEXT NOT NULL,
    difficulty  TEXT NOT NULL,
    status      TEXT NOT NULL CHECK (status IN ('waiting', 'watching', 'finished', 'withdrawn')), -- signed follows from signed_jobs
    created_at  INTEGER NOT NULL,
    started_at  INTEGER NOT NULL,
    finished_at INTEGER NOT NULL,
    personal    BLOB NOT NULL -- sealed under the apprentice's data key: JSON {car, work_order, note}
) STRICT;
CREATE INDEX jobs_apprentice ON jobs (apprentice, created_at);
CREATE INDEX jobs_supervisor ON jobs (supervisor, created_at);
CREATE INDEX jobs_status ON jobs (status, created_at);

CREATE TABLE taps (
    job_id   TEXT NOT NULL REFERENCES jobs (id),
    seq      INTEGER NOT NULL, -- in the order they came, from 1
    id       TEXT NOT NULL,    -- minted by the page
    tap      TEXT NOT NULL,    -- JSON, without what is personal
    personal BLOB NOT NULL,    -- sealed: JSON {what_happened, reason, note}; empty if there is none
    PRIMARY KEY (job_id, seq),
    UNIQUE (job_id, id)
) STRICT, WITHOUT ROWID;

CREATE TABLE open_tests (
    test_id    TEXT NOT NULL PRIMARY KEY,
    watched_by TEXT NOT NULL
) STRICT;

CREATE TABLE draft_answers (
    test_id  TEXT NOT NULL,
    question TEXT NOT NULL,
    answer   TEXT NOT NULL, -- JSON
    PRIMARY KEY (test_id, question)
) STRICT, WITHOUT ROWID;

CREATE TABLE key_requests (
    person_id    TEXT NOT NULL PRIMARY KEY,
    submission   TEXT NOT NULL, -- JSON
    requested_at INTEGER NOT NULL
) STRICT;

CREATE TABLE sessions (
    token_hash TEXT NOT NULL PRIMARY KEY, -- SHA-256, hexadecimal
    person_id  TEXT NOT NULL,
    api        INTEGER NOT NULL CHECK (api IN (0, 1)),
    created_at INTEGER NOT NULL,
    seen_at    INTEGER NOT NULL,
    expires_at INTEGER NOT NULL,
    reauth_at  INTEGER NOT NULL
) STRICT;
CREATE INDEX sessions_person ON sessions (person_id, created_at);

CREATE TABLE failures (
    kind    TEXT NOT NULL, -- login, passphrase, code
    key     TEXT NOT NULL, -- SHA-256 of the login, person or address, hexadecimal
    count   INTEGER NOT NULL,
    last_at INTEGER NOT NULL,
    PRIMARY KEY (kind, key)
) STRICT, WITHOUT ROWID;

CREATE TABLE login_codes (
    person_id  TEXT NOT NULL PRIMARY KEY,
    code_hash  TEXT NOT NULL,
    shown_by   TEXT NOT NULL,
    expires_at INTEGER NOT NULL
) STRICT;

CREATE TABLE verdict_cache (
    apprentice TEXT NOT NULL,
    task       TEXT NOT NULL,
    as_of      TEXT NOT NULL, -- date
    parameters TEXT NOT NULL, -- hash
    policy     TEXT NOT NULL, -- hash
    seen       INTEGER NOT NULL, -- entries that there were before the evidence was read
    verdict    TEXT NOT NULL, -- JSON
    PRIMARY KEY (apprentice, as_of, parameters, policy, task)
) STRICT, WITHOUT ROWID;

-- Which version of the projections the tables above hold, so that a later program makes them anew.
CREATE TABLE bookkeeping (
    name  TEXT NOT NULL PRIMARY KEY,
    value TEXT NOT NULL
) STRICT;
