-- +goose Up
-- What follows a signed entry: corrections, questions, countersignatures, replies, reviews. All of it follows from the
-- ledger and is made anew when this program first opens the database. idx is an entry's index.

-- An ended key or appointment can put many entries in question at once, so a dispute is named by both.
DROP TABLE disputes;
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

CREATE TABLE corrections (
    entry_id TEXT NOT NULL PRIMARY KEY,
    idx      INTEGER NOT NULL,
    corrects TEXT NOT NULL, -- entry
    made_by  TEXT NOT NULL, -- person
    gone_by  TEXT NOT NULL  -- entry that withdrew it or by which it fell, '' while it counts
) STRICT;
CREATE INDEX corrections_corrects ON corrections (corrects, idx);
CREATE INDEX corrections_gone ON corrections (gone_by);

-- Signed entries that come into question with their key or appointment.
CREATE TABLE signed_entries (
    key_id      TEXT NOT NULL,
    idx         INTEGER NOT NULL,
    entry_id    TEXT NOT NULL,
    happened_on TEXT NOT NULL, -- date in the entry's zone
    PRIMARY KEY (key_id, idx)
) STRICT, WITHOUT ROWID;

-- What later entries say about an earlier one, by the earlier one.
CREATE TABLE words_on (
    named    TEXT NOT NULL, -- entry, or the job that was given to somebody
    idx      INTEGER NOT NULL,
    entry_id TEXT NOT NULL, -- the later one
    type     TEXT NOT NULL,
    PRIMARY KEY (named, idx)
) STRICT, WITHOUT ROWID;

-- Who is to see to what waits, the last word on each.
CREATE TABLE assignments (
    matter   TEXT NOT NULL PRIMARY KEY, -- entry or job
    idx      INTEGER NOT NULL,
    entry_id TEXT NOT NULL,
    owner    TEXT NOT NULL  -- person
) STRICT;
