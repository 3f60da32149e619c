-- +goose Up
-- Watched jobs: a number to write on paper, a planned time, whom a request was passed on to, pauses, sheets filled in on
-- paper, photographs. Times are UTC, milliseconds since 1970, 0 for none.
ALTER TABLE jobs ADD COLUMN number INTEGER NOT NULL DEFAULT 0;     -- from 1, in the order they were asked for
ALTER TABLE jobs ADD COLUMN planned_at INTEGER NOT NULL DEFAULT 0; -- asked for at this time, 0 at once
ALTER TABLE jobs ADD COLUMN asked_of TEXT NOT NULL DEFAULT '';     -- the supervisor to whom the request was passed on, '' any
ALTER TABLE jobs ADD COLUMN accepted_at INTEGER NOT NULL DEFAULT 0; -- by asked_of, 0 if not
ALTER TABLE jobs ADD COLUMN paused_at INTEGER NOT NULL DEFAULT 0;
ALTER TABLE jobs ADD COLUMN paper_end INTEGER NOT NULL DEFAULT 0;  -- watched on paper until then, 0 if on the screen
UPDATE jobs SET number = (SELECT COUNT(*) FROM jobs o WHERE o.created_at < jobs.created_at OR o.created_at = jobs.created_at AND o.id <= jobs.id);
CREATE UNIQUE INDEX jobs_number ON jobs (number);

-- Photographs of jobs that are not signed yet; the sign-off takes them into the ledger.
CREATE TABLE photos (
    job_id  TEXT NOT NULL REFERENCES jobs (id),
    id      TEXT NOT NULL, -- of the tap
    sealed  BLOB NOT NULL, -- JPEG, sealed under the apprentice's data key
    PRIMARY KEY (job_id, id)
) STRICT, WITHOUT ROWID;

-- Cars that came back. These two follow from the ledger.
CREATE TABLE cases (
    entry_id  TEXT NOT NULL PRIMARY KEY,
    idx       INTEGER NOT NULL,
    person_id TEXT NOT NULL, -- whose work it was
    task      TEXT NOT NULL,
    site_id   TEXT NOT NULL,
    closed_by TEXT NOT NULL  -- the return with the finding, '' while open
) STRICT;
CREATE INDEX cases_person ON cases (person_id, idx);

CREATE TABLE case_people (
    entry_id  TEXT NOT NULL,
    person_id TEXT NOT NULL,
    PRIMARY KEY (entry_id, person_id)
) STRICT, WITHOUT ROWID;
CREATE INDEX case_people_person ON case_people (person_id);
