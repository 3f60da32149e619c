-- +goose Up
-- What cannot be made anew: the ledger, and what its entries name by hash.

PRAGMA application_id = 1112689477; -- "BRKE", read by Open to know its own files

-- The entries, as the exact bytes that are hashed and signed. Everything else about them is derived.
CREATE TABLE entries (
    idx  INTEGER PRIMARY KEY CHECK (idx >= 0), -- from 0, without a gap
    id   TEXT NOT NULL UNIQUE,                 -- UUIDv7, the body's
    leaf BLOB NOT NULL                         -- RFC 8785 JSON
) STRICT;

-- +goose StatementBegin
CREATE TRIGGER entries_no_update BEFORE UPDATE ON entries
BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER entries_no_delete BEFORE DELETE ON entries
BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;
-- +goose StatementEnd
-- INSERT OR REPLACE would delete first, past the trigger above where recursive triggers are off.
-- +goose StatementBegin
CREATE TRIGGER entries_no_replace BEFORE INSERT ON entries
WHEN NEW.idx <> (SELECT COALESCE(MAX(idx) + 1, 0) FROM entries) OR EXISTS (SELECT 1 FROM entries WHERE id = NEW.id)
BEGIN SELECT RAISE(ABORT, 'the ledger is append-only and without gaps'); END;
-- +goose StatementEnd

-- Personal values: the entry holds SHA-256(salt || value) only.
CREATE TABLE personal (
    entry_id  TEXT NOT NULL REFERENCES entries (id),
    field     TEXT NOT NULL,
    person_id TEXT NOT NULL, -- whose data key it is sealed under, and whose erasure destroys it
    sealed    BLOB NOT NULL, -- nonce (24 bytes) || XChaCha20-Poly1305(data key, salt (32 bytes) || value, entry_id LF field)
    PRIMARY KEY (entry_id, field)
) STRICT, WITHOUT ROWID;

-- +goose StatementBegin
CREATE TRIGGER personal_no_update BEFORE UPDATE ON personal
BEGIN SELECT RAISE(ABORT, 'personal values are not edited'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER personal_no_replace BEFORE INSERT ON personal
WHEN EXISTS (SELECT 1 FROM personal WHERE entry_id = NEW.entry_id AND field = NEW.field)
BEGIN SELECT RAISE(ABORT, 'personal values are not edited'); END;
-- +goose StatementEnd

-- Content that entries name by hash: programmes and their files, forms, answers, marks, verdicts, parameters, password
-- hashes, sealed keys, wrapped data keys. Rows of passwords and keys go when they are superseded.
CREATE TABLE contents (
    hash  TEXT NOT NULL PRIMARY KEY, -- SHA-256, hexadecimal
    bytes BLOB NOT NULL
) STRICT;

-- +goose StatementBegin
CREATE TRIGGER contents_no_update BEFORE UPDATE ON contents
BEGIN SELECT RAISE(ABORT, 'content is named by its hash and not edited'); END;
-- +goose StatementEnd
