CREATE TABLE adoptions (
    entry_id         TEXT NOT NULL PRIMARY KEY,
    idx              INTEGER NOT NULL UNIQUE,
    edition          TEXT NOT NULL, -- content hash of the list of files
    adopted_by       TEXT NOT NULL,
    recorded_at      INTEGER NOT NULL, -- ms
    backdating_days  INTEGER NOT NULL -- of its policy
) STRICT;

CREATE TABLE agreements (
    entry_id   TEXT NOT NULL PRIMARY KEY,
    idx        INTEGER NOT NULL,
    person_id  TEXT NOT NULL,
    from_date  TEXT NOT NULL,
    until_date TEXT NOT NULL,
    ended_by   TEXT NOT NULL
) STRICT;

CREATE INDEX agreements_person ON agreements (person_id, idx);

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

CREATE TABLE assignments (
    matter   TEXT NOT NULL PRIMARY KEY, -- entry or job
    idx      INTEGER NOT NULL,
    entry_id TEXT NOT NULL,
    owner    TEXT NOT NULL  -- person
) STRICT;

CREATE TABLE bookkeeping (
    name  TEXT NOT NULL PRIMARY KEY,
    value TEXT NOT NULL
) STRICT;

CREATE TABLE case_people (
    entry_id  TEXT NOT NULL,
    person_id TEXT NOT NULL,
    PRIMARY KEY (entry_id, person_id)
) STRICT, WITHOUT ROWID;

CREATE INDEX case_people_person ON case_people (person_id);

CREATE TABLE cases (
    entry_id  TEXT NOT NULL PRIMARY KEY,
    idx       INTEGER NOT NULL,
    person_id TEXT NOT NULL, -- whose work it was
    task      TEXT NOT NULL,
    site_id   TEXT NOT NULL,
    closed_by TEXT NOT NULL  -- the return with the finding, '' while open
) STRICT;

CREATE INDEX cases_person ON cases (person_id, idx);

CREATE TABLE cohorts (
    id      TEXT NOT NULL PRIMARY KEY,
    idx     INTEGER NOT NULL,
    name    TEXT NOT NULL,
    site_id TEXT NOT NULL
) STRICT;

CREATE TRIGGER contents_no_update BEFORE UPDATE ON contents
BEGIN SELECT RAISE(ABORT, 'content is named by its hash and not edited'); END;

CREATE TABLE contents (
    hash  TEXT NOT NULL PRIMARY KEY, -- SHA-256, hexadecimal
    bytes BLOB NOT NULL
) STRICT;

CREATE TABLE corrections (
    entry_id TEXT NOT NULL PRIMARY KEY,
    idx      INTEGER NOT NULL,
    corrects TEXT NOT NULL, -- entry
    made_by  TEXT NOT NULL, -- person
    gone_by  TEXT NOT NULL  -- entry that withdrew it or by which it fell, '' while it counts
) STRICT;

CREATE INDEX corrections_corrects ON corrections (corrects, idx);

CREATE INDEX corrections_gone ON corrections (gone_by);

CREATE TABLE disputes (
    entry_id    TEXT NOT NULL, -- the dispute; or the second correction, the ended key, the ended appointment
    idx         INTEGER NOT NULL,
    disputed    TEXT NOT NULL, -- entry
    disputed_by TEXT NOT NULL, -- person, '' where it only came into question
    settled_by  TEXT NOT NULL, -- settlement, '' while open
    PRIMARY KEY (entry_id, disputed)
) STRICT, WITHOUT ROWID;

CREATE INDEX disputes_disputed ON disputes (disputed, idx);

CREATE INDEX disputes_open ON disputes (settled_by, idx);

CREATE TABLE draft_answers (
    test_id  TEXT NOT NULL,
    question TEXT NOT NULL,
    answer   TEXT NOT NULL, -- JSON
    PRIMARY KEY (test_id, question)
) STRICT, WITHOUT ROWID;

CREATE TRIGGER entries_no_delete BEFORE DELETE ON entries
BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;

CREATE TRIGGER entries_no_replace BEFORE INSERT ON entries
WHEN NEW.idx <> (SELECT COALESCE(MAX(idx) + 1, 0) FROM entries) OR EXISTS (SELECT 1 FROM entries WHERE id = NEW.id)
BEGIN SELECT RAISE(ABORT, 'the ledger is append-only and without gaps'); END;

CREATE TRIGGER entries_no_update BEFORE UPDATE ON entries
BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;

CREATE TABLE entries (
    idx  INTEGER PRIMARY KEY CHECK (idx >= 0), -- from 0, without a gap
    id   TEXT NOT NULL UNIQUE,                 -- UUIDv7, the body's
    leaf BLOB NOT NULL                         -- RFC 8785 JSON
) STRICT;

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

CREATE INDEX entry_index_actor ON entry_index (actor, idx);

CREATE INDEX entry_index_corrects ON entry_index (corrects) WHERE corrects <> '';

CREATE INDEX entry_index_subject ON entry_index (subject, idx);

CREATE INDEX entry_index_task ON entry_index (task, idx);

CREATE INDEX entry_index_type ON entry_index (type, idx);

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

CREATE TABLE failures (
    kind    TEXT NOT NULL, -- login, passphrase, code
    key     TEXT NOT NULL, -- SHA-256 of the login, person or address, hexadecimal
    count   INTEGER NOT NULL,
    last_at INTEGER NOT NULL,
    PRIMARY KEY (kind, key)
) STRICT, WITHOUT ROWID;

CREATE TABLE founding (
    entry_id TEXT NOT NULL PRIMARY KEY,
    origin   TEXT NOT NULL,
    title    TEXT NOT NULL,
    zone     TEXT NOT NULL,
    founder  TEXT NOT NULL,
    demo     INTEGER NOT NULL CHECK (demo IN (0, 1))
) STRICT;

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
, number INTEGER NOT NULL DEFAULT 0, planned_at INTEGER NOT NULL DEFAULT 0, asked_of TEXT NOT NULL DEFAULT '', accepted_at INTEGER NOT NULL DEFAULT 0, paused_at INTEGER NOT NULL DEFAULT 0, paper_end INTEGER NOT NULL DEFAULT 0) STRICT;

CREATE INDEX jobs_apprentice ON jobs (apprentice, created_at);

CREATE UNIQUE INDEX jobs_number ON jobs (number);

CREATE INDEX jobs_status ON jobs (status, created_at);

CREATE INDEX jobs_supervisor ON jobs (supervisor, created_at);

CREATE TABLE key_requests (
    person_id    TEXT NOT NULL PRIMARY KEY,
    submission   TEXT NOT NULL, -- JSON
    requested_at INTEGER NOT NULL
) STRICT;

CREATE TABLE leaves (
    entry_id   TEXT NOT NULL PRIMARY KEY,
    idx        INTEGER NOT NULL,
    person_id  TEXT NOT NULL,
    from_date  TEXT NOT NULL,
    to_date    TEXT NOT NULL,
    withdrawn_by TEXT NOT NULL -- correction, '' if none
) STRICT;

CREATE INDEX leaves_person ON leaves (person_id, idx);

CREATE TABLE login_codes (
    person_id  TEXT NOT NULL PRIMARY KEY,
    code_hash  TEXT NOT NULL,
    shown_by   TEXT NOT NULL,
    expires_at INTEGER NOT NULL
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

CREATE TABLE open_tests (
    test_id    TEXT NOT NULL PRIMARY KEY,
    watched_by TEXT NOT NULL
) STRICT;

CREATE TABLE parameters (
    entry_id    TEXT NOT NULL PRIMARY KEY,
    idx         INTEGER NOT NULL UNIQUE,
    hash        TEXT NOT NULL, -- content
    recorded_at INTEGER NOT NULL -- ms
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

CREATE TRIGGER personal_no_replace BEFORE INSERT ON personal
WHEN EXISTS (SELECT 1 FROM personal WHERE entry_id = NEW.entry_id AND field = NEW.field)
BEGIN SELECT RAISE(ABORT, 'personal values are not edited'); END;

CREATE TRIGGER personal_no_update BEFORE UPDATE ON personal
BEGIN SELECT RAISE(ABORT, 'personal values are not edited'); END;

CREATE TABLE personal (
    entry_id  TEXT NOT NULL REFERENCES entries (id),
    field     TEXT NOT NULL,
    person_id TEXT NOT NULL, -- whose data key it is sealed under, and whose erasure destroys it
    sealed    BLOB NOT NULL, -- nonce (24 bytes) || XChaCha20-Poly1305(data key, salt (32 bytes) || value, entry_id LF field)
    PRIMARY KEY (entry_id, field)
) STRICT, WITHOUT ROWID;

CREATE TABLE photos (
    job_id  TEXT NOT NULL REFERENCES jobs (id),
    id      TEXT NOT NULL, -- of the tap
    sealed  BLOB NOT NULL, -- JPEG, sealed under the apprentice's data key
    PRIMARY KEY (job_id, id)
) STRICT, WITHOUT ROWID;

CREATE TABLE programme_drafts (
    person_id  TEXT NOT NULL PRIMARY KEY,
    base       TEXT NOT NULL, -- edition in use when it was begun
    files      BLOB NOT NULL, -- JSON: path to bytes in base64
    updated_at INTEGER NOT NULL
) STRICT;

CREATE TABLE remarks (
    test_id  TEXT NOT NULL PRIMARY KEY,
    entry_id TEXT NOT NULL, -- the question_voided entry of the last marking
    passed   INTEGER NOT NULL CHECK (passed IN (0, 1)),
    answers  TEXT NOT NULL, -- JSON: what the answers say, as evidence has it
    record   TEXT NOT NULL  -- id of the correction in force, '' where the test was withdrawn
) STRICT;

CREATE TABLE restores (
    entry_id   TEXT NOT NULL PRIMARY KEY,
    idx        INTEGER NOT NULL,
    apprentice TEXT NOT NULL,
    task       TEXT NOT NULL
) STRICT;

CREATE INDEX restores_apprentice ON restores (apprentice, idx);

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

CREATE TABLE signed_entries (
    key_id      TEXT NOT NULL,
    idx         INTEGER NOT NULL,
    entry_id    TEXT NOT NULL,
    happened_on TEXT NOT NULL, -- date in the entry's zone
    PRIMARY KEY (key_id, idx)
) STRICT, WITHOUT ROWID;

CREATE TABLE signed_jobs (
    job_id   TEXT NOT NULL PRIMARY KEY,
    entry_id TEXT NOT NULL
) STRICT;

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
, rp_id TEXT NOT NULL DEFAULT '', origin TEXT NOT NULL DEFAULT '', credential TEXT NOT NULL DEFAULT '') STRICT;

CREATE INDEX signing_keys_person ON signing_keys (person_id, idx);

CREATE TABLE signings (
    id        TEXT NOT NULL PRIMARY KEY,
    person_id TEXT NOT NULL,
    sealed    BLOB NOT NULL, -- JSON under the person's data key
    asked_at  INTEGER NOT NULL -- ms
) STRICT;

CREATE TABLE sites (
    id   TEXT NOT NULL PRIMARY KEY,
    idx  INTEGER NOT NULL,
    name TEXT NOT NULL,
    zone TEXT NOT NULL
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

CREATE TABLE superseded (
    hash     TEXT NOT NULL PRIMARY KEY,
    by_entry TEXT NOT NULL
) STRICT;

CREATE INDEX superseded_by ON superseded (by_entry);

CREATE TABLE taps (
    job_id   TEXT NOT NULL REFERENCES jobs (id),
    seq      INTEGER NOT NULL, -- in the order they came, from 1
    id       TEXT NOT NULL,    -- minted by the page
    tap      TEXT NOT NULL,    -- JSON, without what is personal
    personal BLOB NOT NULL,    -- sealed: JSON {what_happened, reason, note}; empty if there is none
    PRIMARY KEY (job_id, seq),
    UNIQUE (job_id, id)
) STRICT, WITHOUT ROWID;

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

CREATE TRIGGER tree_no_delete BEFORE DELETE ON tree
BEGIN SELECT RAISE(ABORT, 'the tree is append-only'); END;

CREATE TRIGGER tree_no_replace BEFORE INSERT ON tree
WHEN NEW.idx <> (SELECT COALESCE(MAX(idx) + 1, 0) FROM tree)
BEGIN SELECT RAISE(ABORT, 'the tree is append-only and without gaps'); END;

CREATE TRIGGER tree_no_update BEFORE UPDATE ON tree
BEGIN SELECT RAISE(ABORT, 'the tree is append-only'); END;

CREATE TABLE tree (
    idx    INTEGER PRIMARY KEY CHECK (idx >= 0),
    hashes BLOB NOT NULL CHECK (length(hashes) >= 32 AND length(hashes) % 32 = 0)
) STRICT;

CREATE TRIGGER tree_head_grows BEFORE UPDATE ON tree_head WHEN NEW.size <= OLD.size
BEGIN SELECT RAISE(ABORT, 'a head is never shorter than the one before'); END;

CREATE TRIGGER tree_head_no_delete BEFORE DELETE ON tree_head
BEGIN SELECT RAISE(ABORT, 'the head stays'); END;

CREATE TABLE tree_head (
    one  INTEGER PRIMARY KEY CHECK (one = 1),
    size INTEGER NOT NULL CHECK (size > 0), -- entries
    note TEXT NOT NULL                      -- C2SP checkpoint in a signed note
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

CREATE TABLE voids (
    entry_id    TEXT NOT NULL PRIMARY KEY,
    idx         INTEGER NOT NULL,
    question    TEXT NOT NULL,
    lesson      TEXT NOT NULL,
    edition     TEXT NOT NULL, -- of the lesson, '' for all
    restores    INTEGER NOT NULL CHECK (restores IN (0, 1)),
    restored_by TEXT NOT NULL -- entry, '' while it is in force
) STRICT;

CREATE INDEX voids_question ON voids (question, lesson, edition);

CREATE TABLE words_on (
    named    TEXT NOT NULL, -- entry, or the job that was given to somebody
    idx      INTEGER NOT NULL,
    entry_id TEXT NOT NULL, -- the later one
    type     TEXT NOT NULL,
    PRIMARY KEY (named, idx)
) STRICT, WITHOUT ROWID;

