-- +goose Up
-- Questions taken out of the tests that had them, and questions put back. One row an entry.
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

-- Theory tests marked anew: as they stand now.
CREATE TABLE remarks (
    test_id  TEXT NOT NULL PRIMARY KEY,
    entry_id TEXT NOT NULL, -- the question_voided entry of the last marking
    passed   INTEGER NOT NULL CHECK (passed IN (0, 1)),
    answers  TEXT NOT NULL, -- JSON: what the answers say, as evidence has it
    record   TEXT NOT NULL  -- id of the correction in force, '' where the test was withdrawn
) STRICT;

CREATE INDEX entry_index_corrects ON entry_index (corrects) WHERE corrects <> '';
