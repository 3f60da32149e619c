-- +goose Up
-- The Merkle tree over all entries (RFC 6962), and its last signed head.

-- One row an entry: the hashes that are kept when its leaf is added, 32 bytes each: the leaf's own, then those of the
-- subtrees that it completes, from the lowest up.
CREATE TABLE tree (
    idx    INTEGER PRIMARY KEY CHECK (idx >= 0),
    hashes BLOB NOT NULL CHECK (length(hashes) >= 32 AND length(hashes) % 32 = 0)
) STRICT;

-- +goose StatementBegin
CREATE TRIGGER tree_no_update BEFORE UPDATE ON tree
BEGIN SELECT RAISE(ABORT, 'the tree is append-only'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER tree_no_delete BEFORE DELETE ON tree
BEGIN SELECT RAISE(ABORT, 'the tree is append-only'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER tree_no_replace BEFORE INSERT ON tree
WHEN NEW.idx <> (SELECT COALESCE(MAX(idx) + 1, 0) FROM tree)
BEGIN SELECT RAISE(ABORT, 'the tree is append-only and without gaps'); END;
-- +goose StatementEnd

-- The last head. Earlier ones are with the witnesses; this one must extend them all.
CREATE TABLE tree_head (
    one  INTEGER PRIMARY KEY CHECK (one = 1),
    size INTEGER NOT NULL CHECK (size > 0), -- entries
    note TEXT NOT NULL                      -- C2SP checkpoint in a signed note
) STRICT;

-- +goose StatementBegin
CREATE TRIGGER tree_head_grows BEFORE UPDATE ON tree_head WHEN NEW.size <= OLD.size
BEGIN SELECT RAISE(ABORT, 'a head is never shorter than the one before'); END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER tree_head_no_delete BEFORE DELETE ON tree_head
BEGIN SELECT RAISE(ABORT, 'the head stays'); END;
-- +goose StatementEnd

-- Entries from before have no tree yet: whoever opens the database with its key file makes it.
INSERT INTO bookkeeping (name, value) SELECT 'tree', 'pending' WHERE EXISTS (SELECT 1 FROM entries);
