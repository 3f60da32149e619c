-- +goose Up
-- Passkeys as signing keys: where they were made and what the device calls them; all '' for a key under a passphrase.
ALTER TABLE signing_keys ADD COLUMN rp_id TEXT NOT NULL DEFAULT '';
ALTER TABLE signing_keys ADD COLUMN origin TEXT NOT NULL DEFAULT '';
ALTER TABLE signing_keys ADD COLUMN credential TEXT NOT NULL DEFAULT ''; -- base64

-- What a person was asked to sign with a passkey, until the answer comes. A draft, gone after some minutes.
CREATE TABLE signings (
    id        TEXT NOT NULL PRIMARY KEY,
    person_id TEXT NOT NULL,
    sealed    BLOB NOT NULL, -- JSON under the person's data key
    asked_at  INTEGER NOT NULL -- ms
) STRICT;
