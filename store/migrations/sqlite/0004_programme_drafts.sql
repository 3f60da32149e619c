-- +goose Up
-- A programme folder that somebody writes in the browser or uploaded: a draft until it is adopted by a signature. One a
-- person. Times are UTC, milliseconds since 1970.
CREATE TABLE programme_drafts (
    person_id  TEXT NOT NULL PRIMARY KEY,
    base       TEXT NOT NULL, -- edition in use when it was begun
    files      BLOB NOT NULL, -- JSON: path to bytes in base64
    updated_at INTEGER NOT NULL
) STRICT;
