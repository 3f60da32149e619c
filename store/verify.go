package store

import (
	"context"
	"crypto/cipher"
	"crypto/rand"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"time"

	"brakewright/store/ledger"
)

// What Verify does not look at: drafts (jobs, taps, photos, open_tests, draft_answers, key_requests, signings), log-in (sessions,
// login_codes), throttling (failures), the cache (verdict_cache) and bookkeeping (bookkeeping, goose_db_version).
//
// The tree and its signed head bind all entries together. Whoever has the key file can sign another head; and the newest
// entries may have been cut off together with everything that follows from them, or the whole put back to an earlier
// state. Only a head that was kept elsewhere excludes that: without one, "rollback" is among what was not examined.

// examination says what to look at beside the entries themselves.
type examination struct {
	database    bool // the engine's own check, and the tables' definitions
	content     bool
	personal    bool
	projections bool
	heads       []*ledger.TreeHead // kept elsewhere
}

// fillOptions gives a clock and randomness where only reading or rebuilding is wanted.
func fillOptions(o Options) Options {
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.Random == nil {
		o.Random = rand.Reader
	}
	return o
}

func verify(ctx context.Context, o Options, heads []*ledger.TreeHead, ledgerOnly bool, progress Progress) (*Verification, error) {
	what := examination{heads: heads}
	if !ledgerOnly {
		what.database, what.content, what.personal, what.projections = true, true, true, true
	}
	return examine(ctx, o, what, progress)
}

// bare says whether nothing but the entries and their tree is looked at.
func (w examination) bare() bool { return !w.database && !w.content && !w.personal && !w.projections }

// snapshot is a file opened to be looked at and not touched.
type snapshot struct {
	db   *sql.DB
	q    *reader
	done func()
}

func openSnapshot(ctx context.Context, path string) (*snapshot, error) {
	if err := checkFile(path); err != nil {
		return nil, err
	}
	db, done, err := openUntouched(ctx, path)
	if err != nil {
		return nil, err
	}
	t, err := db.BeginTx(ctx, &sql.TxOptions{ReadOnly: true})
	if err != nil {
		done()
		return nil, explain(path, err)
	}
	s := &snapshot{db: db, q: &reader{ctx, t}}
	s.done = func() { t.Rollback(); done() }
	return s, nil
}

// openCurrent opens a snapshot; a database with older tables is copied to a temporary folder and brought up to date there.
func openCurrent(ctx context.Context, o Options) (*snapshot, error) {
	s, err := openSnapshot(ctx, o.Database)
	if err != nil {
		return nil, err
	}
	current, target, pending, err := versions(s.q)
	switch {
	case err != nil:
		s.done()
		return nil, fmt.Errorf("database %s: %w (%w)", o.Database, ErrNotDatabase, err)
	case current > target:
		s.done()
		return nil, fmt.Errorf("database %s was made by a newer version of this program (its tables are number %d, this program knows %d): %w", o.Database, current, target, ErrNewer)
	case !pending:
		return s, nil
	}
	s.done()
	dir, err := os.MkdirTemp("", "brakewright-verify-")
	if err != nil {
		return nil, err
	}
	fail := func(err error) (*snapshot, error) {
		os.RemoveAll(dir)
		return nil, err
	}
	copied := o
	copied.Database = filepath.Join(dir, "copy.db")
	if err := copyDatabase(ctx, o.Database, copied.Database, nil); err != nil {
		return fail(err)
	}
	w, err := openWriter(ctx, fillOptions(copied))
	if err != nil {
		return fail(err)
	}
	if err = errors.Join(w.refreshProjections(ctx), w.Close()); err != nil {
		return fail(err)
	}
	if s, err = openSnapshot(ctx, copied.Database); err != nil {
		return fail(err)
	}
	done := s.done
	s.done = func() { done(); os.RemoveAll(dir) }
	return s, nil
}

// examiner collects what is found.
type examiner struct {
	v        *Verification
	q        *reader
	keys     *KeyFile
	progress Progress
	content  func(string) ([]byte, error)

	named    map[[32]byte]int64 // content hash → index of the first entry that names it
	dataKeys map[string]string  // person → content hash of the wrapped data key
	aeads    map[string]cipher.AEAD
	fields   int64 // personal fields named
	rows     int64 // personal rows found for them
	erased   map[string]bool
	missing  []*personalRow          // fields without a row: fine where an erasure says so
	held     map[string]*personalRow // the first row of each person: none may be left after an erasure
	tree     *treeExam
}

func (x *examiner) check(name string, count int64, problem *Problem) bool {
	x.v.Checks = append(x.v.Checks, Check{Name: name, Count: count, OK: problem == nil})
	if problem != nil {
		x.v.OK = false
		if x.v.FirstProblem == nil || guard(x.v.FirstProblem) && !guard(problem) {
			x.v.FirstProblem = problem
		}
	}
	return problem == nil
}

// guard says whether a problem is of the tables' guards and not of what they hold: what is held is named first.
func guard(p *Problem) bool { return p.Table == "sqlite_schema" || p.Table == "" }

func examine(ctx context.Context, o Options, what examination, progress Progress) (*Verification, error) {
	s, err := openCurrent(ctx, o)
	if err != nil {
		return nil, err
	}
	defer s.done()
	x := &examiner{
		v: &Verification{OK: true, Checks: []Check{}, NotExamined: []string{}},
		q: s.q, keys: o.Keys, progress: progress, content: checkedContent(s.q),
		named: map[[32]byte]int64{}, dataKeys: map[string]string{}, aeads: map[string]cipher.AEAD{},
		erased: map[string]bool{}, held: map[string]*personalRow{},
	}
	made := &scratch{}
	if !what.bare() {
		if made, err = newScratch(ctx); err != nil {
			return nil, fmt.Errorf("verify: %w", err)
		}
		defer made.close()
	}
	if what.database {
		if err := x.database(made.tx); err != nil {
			return nil, err
		}
	}
	personal := what.personal && o.Keys != nil
	if what.personal && o.Keys == nil {
		x.v.NotExamined = append(x.v.NotExamined, "personal")
	}
	if err := x.readTree(ctx, what.heads); err != nil {
		return nil, err
	}
	sound, err := x.entries(ctx, what, made.tx)
	if err != nil {
		return nil, err
	}
	if !sound {
		// What follows from the entries cannot be told from a broken ledger.
		for name, wanted := range map[string]bool{"content": what.content, "projections": what.projections, "tree": true, "rollback": len(what.heads) == 0} {
			if wanted {
				x.v.NotExamined = append(x.v.NotExamined, name)
			}
		}
		if personal {
			x.v.NotExamined = append(x.v.NotExamined, "personal")
		}
		slices.Sort(x.v.NotExamined)
		return x.v, nil
	}
	if what.content {
		if err := x.contents(made.tx); err != nil {
			return nil, err
		}
	}
	if what.personal && x.v.OK { // else rows were passed over, and the counts say nothing
		if err := x.strayPersonal(); err != nil {
			return nil, err
		}
	}
	if what.content && x.v.OK { // else forms or answers may be missing
		if err := x.marks(made.tx); err != nil {
			return nil, err
		}
	}
	if what.projections {
		n, p, err := compareProjections(s.q, made.tx)
		if err != nil {
			return nil, err
		}
		x.check("projections", n, p)
	}
	return x.v, nil
}

// database asks the engine for damage, and compares the tables' definitions with this program's.
func (x *examiner) database(made *tx) error {
	var answer string
	if err := x.q.row(`PRAGMA integrity_check(1)`).Scan(&answer); err != nil {
		return explain("", err)
	}
	var p *Problem
	if answer != "ok" {
		p = &Problem{Table: "", Row: "", Index: -1, What: "the database file is damaged: " + answer}
	}
	x.check("database", 1, p)
	definitions := func(q querier) (map[string]string, error) {
		all := map[string]string{}
		_, err := collect(q, func(r *sql.Rows) (struct{}, error) {
			var typ, name, text string
			err := r.Scan(&typ, &name, &text)
			all[typ+" "+name] = "=" + text // an automatic index has no text, but is there
			return struct{}{}, err
		}, `SELECT type, name, COALESCE(sql, '') FROM sqlite_schema WHERE name NOT LIKE 'sqlite!_stat%' ESCAPE '!'`)
		return all, err
	}
	kept, err := definitions(x.q)
	if err != nil {
		return err
	}
	want, err := definitions(made)
	if err != nil {
		return err
	}
	p = nil
	for _, name := range sortedUnion(kept, want) {
		if kept[name] != want[name] {
			p = &Problem{Table: "sqlite_schema", Row: name, Index: -1, What: "its definition is not this program's"}
			break
		}
	}
	x.check("definitions", int64(len(want)), p)
	return nil
}

// entries replays the ledger, projects it into made where that is wanted, and looks at personal rows on the way.
func (x *examiner) entries(ctx context.Context, what examination, made *tx) (sound bool, err error) {
	r := newReplay(x.q, x.content, x.progress)
	var personal *Problem
	r.before = x.tree.entry
	r.each = func(e *replayed) error {
		if what.content || what.personal {
			if err := x.names(e); err != nil {
				return err
			}
		}
		if what.projections || what.content {
			if err := project(made, x.content, e.index, e.p, e.leaf); err != nil {
				return err
			}
		}
		if ledger.Erases(e.p.Body.Type) {
			x.erased[e.p.Body.Subject] = true
		}
		if what.personal {
			p, err := x.personalOf(e)
			if p != nil && personal == nil {
				personal = p
			}
			return err
		}
		return nil
	}
	err = r.run(ctx)
	var found *problemError
	switch {
	case errors.As(err, &found):
		p := found.p
		if at, ok := x.named[hashKey(p.Row)]; ok {
			p.Index = at
		}
		x.v.Entries = r.entries
		x.check("entries", r.entries, nil)
		x.check("content", 0, &p)
		return false, nil
	case err != nil:
		return false, err
	}
	x.v.Entries = r.entries
	if r.problem == nil && r.entries == 0 {
		r.problem = &Problem{Table: "entries", Row: "0", Index: -1, What: "the ledger is empty: entry 0, the founding, is missing"}
	}
	x.check("entries", r.entries, r.problem)
	if r.problem == nil {
		x.check("signatures", r.signatures, nil)
		x.check("rules", r.entries, nil)
		if err := x.tree.finish(x); err != nil {
			return false, err
		}
	}
	if what.personal && r.problem == nil {
		if p := x.erasures(); p != nil && (personal == nil || p.Index < personal.Index) {
			personal = p
		}
		x.check("personal", x.fields, personal)
	}
	return r.problem == nil, nil
}

func hashKey(hash string) (k [32]byte) {
	b, err := hex.DecodeString(hash)
	if err == nil {
		copy(k[:], b)
	}
	return k
}

// names notes what content an entry names.
func (x *examiner) names(e *replayed) error {
	note := func(hash string) {
		k := hashKey(hash)
		if _, ok := x.named[k]; !ok {
			x.named[k] = e.index
		}
	}
	refs := e.p.Refs()
	for name, hash := range refs.Content {
		note(hash)
		if name == "data_key" {
			x.dataKeys[e.p.Body.Subject] = hash
		}
	}
	if e.p.Body.Type != ledger.ProgrammeAdopted {
		return nil
	}
	list, err := x.content(refs.Content["programme"])
	if err != nil {
		return err
	}
	files, err := parseProgrammeList(list)
	if err != nil {
		return &problemError{Problem{Table: "contents", Row: refs.Content["programme"], Index: e.index, What: "the programme's list " + err.Error()}}
	}
	for _, f := range files {
		note(f.edition)
	}
	return nil
}

// personalOf looks at an entry's personal rows: each is there, and with the key file, opens to what the entry names.
func (x *examiner) personalOf(e *replayed) (*Problem, error) {
	refs := e.p.Refs().Personal
	if len(refs) == 0 {
		return nil, nil
	}
	id := e.p.Body.ID
	rows, err := collect(x.q, func(r *sql.Rows) (y sealedRow, err error) {
		return y, r.Scan(&y.field, &y.person, &y.sealed)
	}, `SELECT field, person_id, sealed FROM personal WHERE entry_id = $1 ORDER BY field`, id)
	if err != nil {
		return nil, err
	}
	at := func(field, what string) *Problem {
		return &Problem{Table: "personal", Row: id + "," + field, Index: e.index, What: what}
	}
	there := map[string]bool{}
	for _, r := range rows {
		want, named := refs[r.field]
		if !named {
			return at(r.field, "the entry names no such field"), nil
		}
		there[r.field] = true
		x.rows++
		owner := ledger.Owner(e.p.Body)
		if r.person != owner {
			return at(r.field, "it is kept as somebody else's"), nil
		}
		if x.held[owner] == nil {
			x.held[owner] = &personalRow{owner, e.index, id, r.field}
		}
		if x.keys == nil {
			continue
		}
		aead, err := x.dataKey(r.person)
		if err != nil {
			return nil, err
		}
		if aead == nil {
			return at(r.field, "it is under the data key of somebody unknown"), nil
		}
		f, err := openPersonal(aead, id, r.field, r.person, r.sealed)
		if err != nil {
			return at(r.field, "it does not open: it was changed, or moved here from elsewhere"), nil
		}
		if f.Hash() != want {
			return at(r.field, "it is not what the entry names"), nil
		}
	}
	for _, field := range slices.Sorted(maps.Keys(refs)) {
		if !there[field] {
			x.missing = append(x.missing, &personalRow{ledger.Owner(e.p.Body), e.index, id, field})
		}
	}
	x.fields += int64(len(refs))
	return nil, nil
}

// personalRow is a personal field and whose it is.
type personalRow struct {
	person    string
	index     int64
	id, field string
}

// erasures says whether personal rows are missing that no erasure has destroyed, or left that one should have.
func (x *examiner) erasures() *Problem {
	for _, r := range x.missing {
		if !x.erased[r.person] {
			return &Problem{Table: "personal", Row: r.id + "," + r.field, Index: r.index, What: "it is missing, and no erasure says so"}
		}
	}
	for _, person := range slices.Sorted(maps.Keys(x.erased)) {
		if r := x.held[person]; r != nil {
			return &Problem{Table: "personal", Row: r.id + "," + r.field, Index: r.index, What: "the person was erased, but it is still there"}
		}
	}
	return nil
}

// dataKey opens a person's data key as the ledger names it; nil if the ledger names none.
func (x *examiner) dataKey(person string) (cipher.AEAD, error) {
	if aead, ok := x.aeads[person]; ok {
		return aead, nil
	}
	hash, ok := x.dataKeys[person]
	if !ok {
		return nil, nil
	}
	wrapped, err := contentOf(x.q, hash)
	if errors.Is(err, ErrNotFound) { // the contents' own check says whether it may be gone
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	if ledger.Hash(wrapped) != hash {
		return nil, &problemError{Problem{Table: "contents", Row: hash, Index: -1, What: "the bytes are not those that the entry names"}}
	}
	aead, err := x.keys.openDataKey(wrapped, person)
	if err != nil {
		return nil, err
	}
	x.aeads[person] = aead
	return aead, nil
}

// strayPersonal finds personal rows that no entry names. Those of entries that name some were seen on the way; if there
// are more rows than were seen, the rest are looked for.
func (x *examiner) strayPersonal() error {
	var n int64
	if err := x.q.row(`SELECT COUNT(*) FROM personal`).Scan(&n); err != nil {
		return err
	}
	if n == x.rows {
		return nil
	}
	type row struct {
		id, field string
		index     int64
		leaf      []byte
	}
	rows, err := collect(x.q, func(r *sql.Rows) (y row, err error) {
		return y, r.Scan(&y.id, &y.field, &y.index, &y.leaf)
	}, `SELECT p.entry_id, p.field, COALESCE(e.idx, -1), COALESCE(e.leaf, x'') FROM personal p LEFT JOIN entries e ON e.id = p.entry_id ORDER BY p.entry_id, p.field`)
	if err != nil {
		return err
	}
	for _, r := range rows {
		what := "there is no such entry"
		if r.index >= 0 {
			p, err := ledger.Parse(r.leaf)
			if err != nil {
				return err
			}
			if _, named := p.Refs().Personal[r.field]; named {
				continue
			}
			what = "the entry names no such field"
		}
		x.check("stray personal rows", n-x.rows, &Problem{Table: "personal", Row: r.id + "," + r.field, Index: r.index, What: what})
		return nil
	}
	return nil
}

// contents looks at every stored content: it is what its hash says, and an entry names it; and what entries name is there.
func (x *examiner) contents(made *tx) error {
	gone := map[[32]byte]bool{}
	_, err := collect(made, func(r *sql.Rows) (struct{}, error) {
		var hash string
		err := r.Scan(&hash)
		gone[hashKey(hash)] = true
		return struct{}{}, err
	}, `SELECT hash FROM superseded`)
	if err != nil {
		return err
	}
	var total, n int64
	if err := x.q.row(`SELECT COUNT(*) FROM contents`).Scan(&total); err != nil {
		return err
	}
	rows, err := x.q.query(`SELECT hash, bytes FROM contents ORDER BY hash`)
	if err != nil {
		return err
	}
	defer rows.Close()
	var problem *Problem
	found := func(hash string, index int64, what string) {
		if problem == nil {
			problem = &Problem{Table: "contents", Row: hash, Index: index, What: what}
		}
	}
	there := map[[32]byte]bool{}
	for rows.Next() {
		var hash string
		var b []byte
		if err := rows.Scan(&hash, &b); err != nil {
			return err
		}
		k := hashKey(hash)
		index, named := x.named[k]
		switch {
		case !ledger.ValidHash(hash) || sha256.Sum256(b) != k:
			if !named {
				index = -1
			}
			found(hash, index, "the bytes are not what the hash says")
		case !named:
			found(hash, -1, "no entry names it")
		case gone[k]:
			found(hash, index, "it was superseded and must be gone")
		}
		there[k] = true
		if n++; x.progress != nil && n%replayBatch == 0 {
			x.progress("content", n, total)
		}
	}
	if err := rows.Err(); err != nil {
		return err
	}
	for k, index := range x.named {
		if !there[k] && !gone[k] && (problem == nil || problem.Index > index) {
			problem = &Problem{Table: "contents", Row: hex.EncodeToString(k[:]), Index: index, What: "an entry names it, but it is missing"}
		}
	}
	x.check("content", n, problem)
	return nil
}
