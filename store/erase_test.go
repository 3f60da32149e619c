package store_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"brakewright/store"
	"brakewright/store/ledger"
	"brakewright/store/storetest"
)

// beside makes a world whose heads and erasures are kept beside a key file.
func beside(t *testing.T) *storetest.World {
	t.Helper()
	w := storetest.New(t, storetest.Config{})
	closed(w)
	w.Options.Beside = filepath.Join(t.TempDir(), "shop.key")
	reopen(w)
	return w
}

func reopen(w *storetest.World) {
	w.T.Helper()
	s, err := store.Open(ctx, w.Options)
	if err != nil {
		w.T.Fatal(err)
	}
	w.Store = s
	w.T.Cleanup(func() { s.Close() })
}

func erase(w *storetest.World, m *storetest.Member) string {
	return w.Append(w.Make(w.Coordinators[0].ID, ledger.Erased, m.ID, ledger.ErasurePayload{}, nil, nil, w.Coordinators[0].Signer)).ID
}

// An erasure destroys the key, the salts and the values, in the file as well; the entries stay, and verify is content.
func TestErasure(t *testing.T) {
	w := storetest.New(t, storetest.Config{})
	pat, sam := w.Apprentices[0], w.Supervisors[0]
	w.Append(w.SignOff(sam, pat, w.Tasks[0], nil))
	job := store.Job{ID: w.ID(), Apprentice: pat.ID, Task: w.Tasks[0], WorkOrder: "plate ABC"}
	if err := w.Store.AddJob(ctx, job); err != nil {
		t.Fatal(err)
	}
	if err := w.Store.AddTaps(ctx, job.ID, []store.Tap{{ID: w.ID(), By: sam.ID, Note: "a note", At: w.Clock.Now().UnixMilli()}}); err != nil {
		t.Fatal(err)
	}
	db := raw(t, w.Options.Database)
	secrets := func(query string) (all [][]byte) {
		rows, err := db.Query(query, pat.ID)
		if err != nil {
			t.Fatal(err)
		}
		defer rows.Close()
		for rows.Next() {
			var b []byte
			if err := rows.Scan(&b); err != nil {
				t.Fatal(err)
			}
			all = append(all, b)
		}
		return all
	}
	gone := secrets(`SELECT bytes FROM contents WHERE hash = (SELECT data_key FROM people WHERE id = ?)`)
	gone = append(gone, secrets(`SELECT bytes FROM contents WHERE hash = (SELECT password FROM people WHERE id = ?)`)...)
	gone = append(gone, secrets(`SELECT sealed FROM personal WHERE person_id = ?`)...)
	gone = append(gone, secrets(`SELECT personal FROM jobs WHERE apprentice = ?`)...)
	if len(gone) < 6 {
		t.Fatalf("only %d things to be destroyed", len(gone))
	}
	db.Close()
	entries, err := w.Store.Entries(ctx, store.EntryFilter{Limit: 1000})
	if err != nil {
		t.Fatal(err)
	}
	erase(w, pat)
	p, err := w.Store.Person(ctx, pat.ID)
	if err != nil || !p.Erased || p.Name != "" || p.Login != "" || p.HasPassword {
		t.Errorf("%+v, %v", p, err)
	}
	people, err := w.Store.People(ctx)
	if err != nil || slices.ContainsFunc(people, func(p *store.Person) bool { return p.ID == pat.ID }) {
		t.Errorf("still on the roster, %v", err)
	}
	if _, err := w.Store.PersonByLogin(ctx, pat.Login); !errors.Is(err, store.ErrNotFound) {
		t.Errorf("by log-in name: %v", err)
	}
	after, err := w.Store.Entries(ctx, store.EntryFilter{Limit: 1000})
	if err != nil || len(after) != len(entries)+1 {
		t.Fatal(len(after), err)
	}
	for i, e := range entries {
		if !bytes.Equal(e.Leaf, after[i].Leaf) {
			t.Errorf("entry %d changed", i)
		}
		if e.Entry.Body.Subject == pat.ID && len(after[i].Personal) > 0 {
			t.Errorf("entry %d still says %v", i, after[i].Personal)
		}
	}
	if j, err := w.Store.Job(ctx, job.ID); err != nil || j.WorkOrder != "" || j.Status != store.JobWithdrawn {
		t.Errorf("%+v, %v", j, err)
	}
	if taps, err := w.Store.Taps(ctx, job.ID); err != nil || len(taps) != 1 || taps[0].Note != "" {
		t.Errorf("%+v, %v", taps, err)
	}
	// Nothing more can be recorded of the person, and none of it is written.
	var broken *ledger.RuleError
	if _, err := w.Store.Append(ctx, w.SignOff(sam, pat, w.Tasks[0], nil)); !errors.As(err, &broken) || broken.Code != ledger.PersonErased {
		t.Errorf("a further job: %v", err)
	}
	mustVerify(t, w.Options)
	path := closed(w)
	file := readFile(t, path)
	if log, err := os.ReadFile(path + "-wal"); err == nil {
		file = append(file, log...)
	}
	for i, b := range gone {
		if bytes.Contains(file, b) {
			t.Errorf("secret %d still stands in the file", i)
		}
	}
	mustVerify(t, w.Options)
	if v, err := store.Rebuild(ctx, w.Options, false, nil); err != nil || !v.OK {
		t.Errorf("%+v, %v", v, err)
	}
}

// Verify tells an erasure from a theft: rows may be missing only where an entry says so, and then none may be left.
func TestErasureVerified(t *testing.T) {
	w := storetest.New(t, storetest.Config{})
	pat, pia := w.Apprentices[0], w.Apprentices[1]
	before := filepath.Join(t.TempDir(), "before.db")
	if _, err := store.Backup(ctx, w.Options, before, nil); err != nil {
		t.Fatal(err)
	}
	erase(w, pat)
	path := closed(w)
	for name, edit := range map[string]string{
		"a row of somebody else destroyed": `DELETE FROM personal WHERE person_id = '` + pia.ID + `'`,
		"a row brought back":               `INSERT INTO personal SELECT * FROM older.personal WHERE person_id = '` + pat.ID + `' LIMIT 1`,
		"the data key brought back":        `INSERT INTO contents SELECT * FROM older.contents WHERE hash = (SELECT data_key FROM people WHERE id = '` + pat.ID + `')`,
		"another's data key destroyed":     `DELETE FROM contents WHERE hash = (SELECT data_key FROM people WHERE id = '` + pia.ID + `')`,
		"the erasure forgotten":            `DELETE FROM superseded`,
	} {
		o := w.Options
		o.Database = copyTo(t, path)
		db := raw(t, o.Database)
		mustExec(t, db, `ATTACH DATABASE ? AS older`, before)
		mustExec(t, db, edit)
		db.Close()
		if v, err := store.Verify(ctx, o, false, nil); err != nil || v.OK {
			t.Errorf("%s: %+v, %v", name, v, err)
		}
	}
}

// A database put back from a copy does not bring an erased person back: forced over the newer one, or to where nothing is,
// with the key file at once or when it is next there.
func TestErasureIsReplayed(t *testing.T) {
	for _, way := range []string{"over the newer", "where nothing is", "later", "twice"} {
		t.Run(way, func(t *testing.T) {
			w := beside(t)
			pat := w.Apprentices[0]
			copied := filepath.Join(t.TempDir(), "copy.db")
			if _, err := store.Backup(ctx, w.Options, copied, nil); err != nil {
				t.Fatal(err)
			}
			erase(w, pat)
			closed(w)
			o := w.Options
			switch way {
			case "where nothing is":
				if err := os.Remove(o.Database); err != nil {
					t.Fatal(err)
				}
			case "later":
				o.Keys, o.Beside = nil, ""
			}
			if _, err := store.Restore(ctx, copied, o, true, nil); err != nil {
				t.Fatal(err)
			}
			if way == "twice" {
				if _, err := store.Restore(ctx, copied, o, true, nil); err != nil {
					t.Fatal(err)
				}
			}
			reopen(w)
			if len(w.Store.NotErased()) > 0 || w.Store.Refusal() != nil {
				t.Errorf("%v, %v", w.Store.NotErased(), w.Store.Refusal())
			}
			p, err := w.Store.Person(ctx, pat.ID)
			if err != nil || !p.Erased || p.Name != "" {
				t.Errorf("%+v, %v", p, err)
			}
			mustVerify(t, w.Options)
			w.Append(w.SignOff(w.Supervisors[0], w.Apprentices[1], w.Tasks[0], nil))
			mustVerify(t, w.Options)
		})
	}
}

// What the copy does not know of whoever signed an erasure is in the way of nothing: a key changed since, a coordinator who
// came since, a key ended in the copy's own later history. The list beside the key file holds what shows it; without that
// nobody is erased, and it is said who must be.
func TestErasureIsReplayedWhoeverSignedIt(t *testing.T) {
	newKey := func(w *storetest.World, m *storetest.Member, by *ledger.Signer) {
		id := w.ID()
		signer, public, sealed, err := ledger.NewKey(w.Random, id, m.ID, m.Passphrase)
		if err != nil {
			t.Fatal(err)
		}
		w.Append(w.Make(m.ID, ledger.KeyAdded, m.ID, ledger.KeyAddedPayload{Key: ledger.MarshalKey(id, public)}, nil, map[string][]byte{"sealed_key": sealed}, signer, by))
		m.Signer = signer
	}
	endKey := func(w *storetest.World, m *storetest.Member) {
		w.Clock.Add(time.Hour)
		w.Append(w.Make(m.ID, ledger.KeyEnded, m.ID, ledger.KeyEndedPayload{Key: m.Signer.Key, Why: "changed", From: w.Clock.Now().UnixMilli()}, nil, nil))
		w.Clock.Add(time.Hour)
	}
	for name, c := range map[string]struct {
		since func(w *storetest.World) // after the copy, before the erasure
		after func(w *storetest.World) // after the erasure
		elsewhere,
		unlisted bool
		want int64 // leaves that come along
	}{
		"by a key added since": {since: func(w *storetest.World) { newKey(w, w.Coordinators[0], w.Coordinators[1].Signer) }, want: 1},
		"by a key changed twice since": {since: func(w *storetest.World) {
			boss := w.Coordinators[0]
			old := *boss
			newKey(w, boss, boss.Signer)
			endKey(w, &old)
			newKey(w, boss, boss.Signer)
		}, want: 2},
		"by somebody made a coordinator since": {since: func(w *storetest.World) {
			boss, sam := w.Coordinators[0], w.Supervisors[0]
			w.Append(w.Make(boss.ID, ledger.RoleGranted, sam.ID, ledger.RolePayload{Role: "coordinator", From: w.Today()}, nil, nil, boss.Signer))
			w.Coordinators = []*storetest.Member{sam}
		}, want: 1},
		"the key ended after it":          {after: func(w *storetest.World) { endKey(w, w.Coordinators[0]) }},
		"the key ended in the copy, used": {elsewhere: true},
		"the list lacks what shows it":    {since: func(w *storetest.World) { newKey(w, w.Coordinators[0], w.Coordinators[1].Signer) }, unlisted: true},
	} {
		t.Run(name, func(t *testing.T) {
			w := beside(t)
			pat, boss := w.Apprentices[0], w.Coordinators[0]
			copied := filepath.Join(t.TempDir(), "copy.db")
			if _, err := store.Backup(ctx, w.Options, copied, nil); err != nil {
				t.Fatal(err)
			}
			if c.since != nil {
				c.since(w)
			}
			w.Clock.Add(time.Minute)
			erase(w, pat)
			if c.after != nil {
				c.after(w)
			}
			closed(w)
			o := w.Options
			if c.elsewhere { // where the list is not, somebody works on with the copy
				o.Database, o.Beside = copied, ""
				s, err := store.Open(ctx, o)
				if err != nil {
					t.Fatal(err)
				}
				w.Clock.Add(time.Hour)
				if _, err := s.Append(ctx, w.Make(boss.ID, ledger.KeyEnded, boss.ID, ledger.KeyEndedPayload{Key: boss.Signer.Key, Why: "changed", From: w.Clock.Now().UnixMilli()}, nil, nil)); err != nil {
					t.Fatal(err)
				}
				s.Close()
				w.Clock.Add(time.Hour)
			}
			if c.unlisted {
				list := strings.Fields(string(readFile(t, w.Options.Beside+".erasures")))
				if err := os.WriteFile(w.Options.Beside+".erasures", []byte(list[len(list)-1]+"\n"), 0o600); err != nil {
					t.Fatal(err)
				}
				if err := os.Remove(w.Options.Database); err != nil {
					t.Fatal(err)
				}
			}
			if _, err := store.Restore(ctx, copied, w.Options, true, nil); err != nil {
				t.Fatal(err)
			}
			reopen(w)
			p, err := w.Store.Person(ctx, pat.ID)
			if c.unlisted {
				if err != nil || p.Erased || !slices.Equal(w.Store.NotErased(), []string{pat.ID}) {
					t.Errorf("%+v, %v, not erased: %v", p, err, w.Store.NotErased())
				}
				mustVerify(t, w.Options)
				return
			}
			if err != nil || !p.Erased || len(w.Store.NotErased()) > 0 || w.Store.Refusal() != nil {
				t.Fatalf("%+v, %v, not erased: %v, refusal %v", p, err, w.Store.NotErased(), w.Store.Refusal())
			}
			list, err := w.Store.Entries(ctx, store.EntryFilter{Types: []ledger.Type{ledger.ErasedAgain}, Limit: 10})
			if err != nil || len(list) != 1 {
				t.Fatal(len(list), err)
			}
			said, err := ledger.PayloadOf[ledger.ErasureReplayedPayload](list[0].Entry.Body)
			if err != nil || int64(len(said.Authority)) != c.want {
				t.Errorf("%d leaves come along, want %d, %v", len(said.Authority), c.want, err)
			}
			mustVerify(t, w.Options)
			if v, err := store.Rebuild(ctx, w.Options, false, nil); err != nil || !v.OK {
				t.Errorf("%+v, %v", v, err)
			}
			closed(w)
			// The same copy once more: the list now leads from the one history to the other.
			if _, err := store.Restore(ctx, copied, w.Options, true, nil); err != nil {
				t.Fatal(err)
			}
			reopen(w)
			if p, err := w.Store.Person(ctx, pat.ID); err != nil || !p.Erased || len(w.Store.NotErased()) > 0 {
				t.Errorf("again: %+v, %v", p, err)
			}
			mustVerify(t, w.Options)
		})
	}
}

// Verify names an erasure entry that broke the rules, whoever put it there and signed it.
func TestAnErasureTooSoonIsNamed(t *testing.T) {
	w := storetest.New(t, storetest.Config{})
	w.Clock.Set(time.UnixMilli(ledger.RetentionJudged).Add(24 * time.Hour))
	boss, pat := w.Coordinators[0], w.Apprentices[0]
	w.Append(w.SignOff(w.Supervisors[0], pat, w.Tasks[0], nil))
	keeping, against, err := w.Store.Keeping(ctx, pat.ID, w.Today(), storetest.Zone)
	if err != nil || len(against) < 3 {
		t.Fatal(against, err)
	}
	for name, p := range map[string]ledger.ErasurePayload{"without its date": {}, "with its date": {KeptUntil: ledger.KeptUntil(keeping)}, "with another": {KeptUntil: "2026-01-31"}} {
		sub := w.Make(boss.ID, ledger.Erased, pat.ID, p, nil, nil, boss.Signer)
		var broken *ledger.RuleError
		if _, err := w.Store.Append(ctx, sub); !errors.As(err, &broken) || broken.Code != ledger.EraseRole {
			t.Errorf("%s: %v", name, err)
		}
		o := w.Options
		o.Database = filepath.Join(t.TempDir(), "forged.db")
		if _, err := store.Backup(ctx, w.Options, o.Database, nil); err != nil {
			t.Fatal(err)
		}
		leaf, err := sub.Leaf(w.Clock.Now().UnixMilli())
		if err != nil {
			t.Fatal(err)
		}
		db := raw(t, o.Database)
		mustExec(t, db, `INSERT INTO entries (idx, id, leaf) SELECT MAX(idx) + 1, ?, ? FROM entries`, sub.Body.ID, leaf)
		db.Close()
		v, err := store.Verify(ctx, o, false, nil)
		if err != nil || v.OK || v.FirstProblem.Index != v.Entries || !strings.Contains(v.FirstProblem.What, ledger.EraseRole) {
			t.Errorf("%s: %+v, %v", name, v.FirstProblem, err)
		}
	}
}

// The head beside the key file: an older copy is read but not signed for, whoever put it there; a forced restore is an
// entry that names what is lost; and what is consistent is never in the way.
func TestOlderCopyIsNoticed(t *testing.T) {
	w := beside(t)
	copied := filepath.Join(t.TempDir(), "copy.db")
	if _, err := store.Backup(ctx, w.Options, copied, nil); err != nil {
		t.Fatal(err)
	}
	w.Append(w.SignOff(w.Supervisors[0], w.Apprentices[0], w.Tasks[0], nil))
	head, err := w.Store.TreeHead(ctx)
	if err != nil {
		t.Fatal(err)
	}
	path := closed(w)
	if kept := readFile(t, w.Options.Beside+".head"); string(kept) != head.Note {
		t.Fatalf("kept:\n%s", kept)
	}
	reopen(w)
	if w.Store.Refusal() != nil {
		t.Fatal(w.Store.Refusal())
	}
	closed(w)

	// Behind the program's back.
	newer := readFile(t, path)
	if err := os.WriteFile(path, readFile(t, copied), 0o600); err != nil {
		t.Fatal(err)
	}
	reopen(w)
	if err := w.Store.Refusal(); !errors.Is(err, store.ErrRolledBack) || !strings.Contains(err.Error(), "a head is known of") {
		t.Errorf("refusal %v", err)
	}
	if _, err := w.Store.People(ctx); err != nil {
		t.Errorf("reading: %v", err)
	}
	if _, err := w.Store.Append(ctx, w.SignOff(w.Supervisors[0], w.Apprentices[0], w.Tasks[0], nil)); !errors.Is(err, store.ErrRolledBack) {
		t.Errorf("signing: %v", err)
	}
	closed(w)
	if kept := readFile(t, w.Options.Beside+".head"); string(kept) != head.Note {
		t.Errorf("the known head was lost:\n%s", kept)
	}
	// By restore, where nothing stands that could be compared.
	o := w.Options
	o.Database = filepath.Join(t.TempDir(), "new.db")
	if _, err := store.Restore(ctx, copied, o, false, nil); !errors.Is(err, store.ErrOlder) {
		t.Errorf("restore: %v", err)
	}
	if got := files(t, filepath.Dir(o.Database)); len(got) != 0 {
		t.Errorf("left behind: %v", got)
	}
	// Another history of the same length.
	w2 := w.Options
	w2.Database, w2.Beside = copyTo(t, copied), ""
	other, err := store.Open(ctx, w2)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := other.Append(ctx, w.SignOff(w.Supervisors[1], w.Apprentices[1], w.Tasks[1], nil)); err != nil {
		t.Fatal(err)
	}
	if err := other.Close(); err != nil {
		t.Fatal(err)
	}
	w2.Beside = w.Options.Beside
	if other, err = store.Open(ctx, w2); err != nil {
		t.Fatal(err)
	}
	if err := other.Refusal(); !errors.Is(err, store.ErrRolledBack) || !strings.Contains(err.Error(), "are not those") {
		t.Errorf("a fork: %v", err)
	}
	other.Close()

	// Forced: an entry says what is known to be lost, and the ledger goes on.
	if _, err := store.Restore(ctx, copied, w.Options, true, nil); err != nil {
		t.Fatal(err)
	}
	reopen(w)
	if w.Store.Refusal() != nil {
		t.Fatal(w.Store.Refusal())
	}
	list, err := w.Store.Entries(ctx, store.EntryFilter{Newest: true, Limit: 1})
	if err != nil || list[0].Entry.Body.Type != ledger.PutBack {
		t.Fatalf("%+v, %v", list[0], err)
	}
	said, err := ledger.PayloadOf[ledger.PutBackPayload](list[0].Entry.Body)
	if err != nil || said.KnownSize != head.Size || said.KnownRoot != head.Root.String() || said.Entries != head.Size-1 {
		t.Errorf("%+v, %v", said, err)
	}
	w.Append(w.SignOff(w.Supervisors[0], w.Apprentices[0], w.Tasks[0], nil))
	mustVerify(t, w.Options)
	v, err := store.VerifyAgainst(ctx, w.Options, []*ledger.TreeHead{head}, false, nil)
	if err != nil || v.OK {
		t.Errorf("the head that was lost: %+v, %v", v, err)
	}
	closed(w)
	// The newer one again: now it is the other history.
	if err := os.WriteFile(path, newer, 0o600); err != nil {
		t.Fatal(err)
	}
	reopen(w)
	if !errors.Is(w.Store.Refusal(), store.ErrRolledBack) {
		t.Errorf("refusal %v", w.Store.Refusal())
	}
	closed(w)
	// A restore that is forced without need leaves no entry.
	if err := os.Remove(w.Options.Beside + ".head"); err != nil {
		t.Fatal(err)
	}
	full := filepath.Join(t.TempDir(), "full.db")
	if _, err := store.Backup(ctx, w.Options, full, nil); err != nil {
		t.Fatal(err)
	}
	if _, err := store.Restore(ctx, full, w.Options, true, nil); err != nil {
		t.Fatal(err)
	}
	if v := mustVerify(t, w.Options); v.Entries != head.Size {
		t.Errorf("%d entries, want %d", v.Entries, head.Size)
	}
}

// A file put back under a running server is noticed at the next signature.
func TestHeadsNeverShrinkUnderARunningServer(t *testing.T) {
	w := storetest.New(t, storetest.Config{})
	copied := filepath.Join(t.TempDir(), "copy.db")
	if _, err := store.Backup(ctx, w.Options, copied, nil); err != nil {
		t.Fatal(err)
	}
	w.Append(w.SignOff(w.Supervisors[0], w.Apprentices[0], w.Tasks[0], nil))
	older := raw(t, copied)
	var note string
	var size int64
	if err := older.QueryRow(`SELECT size, note FROM tree_head`).Scan(&size, &note); err != nil {
		t.Fatal(err)
	}
	db := raw(t, w.Options.Database+"?_busy_timeout=10000")
	for _, edit := range []string{`DROP TRIGGER tree_head_grows`, `DROP TRIGGER tree_no_delete`, `DROP TRIGGER entries_no_delete`} {
		mustExec(t, db, edit)
	}
	mustExec(t, db, `UPDATE tree_head SET size = ?, note = ?`, size, note)
	mustExec(t, db, `DELETE FROM tree WHERE idx >= ?`, size)
	mustExec(t, db, `DELETE FROM personal WHERE entry_id IN (SELECT id FROM entries WHERE idx >= ?)`, size)
	mustExec(t, db, `DELETE FROM entries WHERE idx >= ?`, size)
	for _, table := range []string{"entry_index", "evidence", "signed_entries"} {
		mustExec(t, db, `DELETE FROM `+table+` WHERE idx >= ?`, size)
	}
	mustExec(t, db, `DELETE FROM signed_jobs`)
	if _, err := w.Store.Append(ctx, w.SignOff(w.Supervisors[0], w.Apprentices[0], w.Tasks[0], nil)); !errors.Is(err, store.ErrRolledBack) {
		t.Errorf("got %v", err)
	}
}

// Whoever has database, key file and source can rewrite an entry that needs no signature, with everything that follows from it,
// and sign the tree anew: by itself the database is sound again. A head that was kept elsewhere shows it.
func TestRewrittenHistoryShows(t *testing.T) {
	w := storetest.New(t, storetest.Config{})
	past := w.FullHistory()
	head, err := w.Store.TreeHead(ctx)
	if err != nil {
		t.Fatal(err)
	}
	o := w.Options
	o.Database = copyTo(t, closed(w))
	db := raw(t, o.Database)
	for _, edit := range []string{`DROP TRIGGER entries_no_update`, `DROP TRIGGER tree_no_delete`, `DROP TRIGGER tree_head_no_delete`} {
		mustExec(t, db, edit)
	}
	mustExec(t, db, `UPDATE entries SET leaf = CAST(replace(CAST(leaf AS TEXT), ?, ?) AS BLOB) WHERE id = ?`,
		ledger.Hash([]byte("lesson")), ledger.Hash([]byte("another")), past["reading 0"])
	db.Close()
	// As it stands it is neither signed for at a start, nor content.
	o.Recompute = true
	s, err := store.Open(ctx, o)
	if err != nil {
		t.Fatal(err)
	}
	if !errors.Is(s.Refusal(), store.ErrDamaged) {
		t.Errorf("refusal %v", s.Refusal())
	}
	s.Close()
	if v, err := store.Verify(ctx, o, false, nil); err != nil || v.OK || v.FirstProblem.Table != "entries" || v.FirstProblem.Row != fmt.Sprint(mustIndex(t, o, past["reading 0"])) {
		t.Errorf("%+v, %v", v.FirstProblem, err)
	}
	db = raw(t, o.Database)
	mustExec(t, db, `DELETE FROM tree`)
	mustExec(t, db, `DELETE FROM tree_head`)
	mustExec(t, db, `INSERT INTO bookkeeping (name, value) VALUES ('tree', 'pending')`)
	mustExec(t, db, `UPDATE bookkeeping SET value = 'old' WHERE name = 'projections'`)
	db.Close()
	s, err = store.Open(ctx, o)
	if err != nil || s.Refusal() != nil {
		t.Fatal(err, s.Refusal())
	}
	s.Close()
	db = raw(t, o.Database)
	for _, text := range []string{
		`CREATE TRIGGER entries_no_update BEFORE UPDATE ON entries
BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END`,
		`CREATE TRIGGER tree_no_delete BEFORE DELETE ON tree
BEGIN SELECT RAISE(ABORT, 'the tree is append-only'); END`,
		`CREATE TRIGGER tree_head_no_delete BEFORE DELETE ON tree_head
BEGIN SELECT RAISE(ABORT, 'the head stays'); END`} {
		mustExec(t, db, text)
	}
	db.Close()
	mustVerify(t, o)
	v, err := store.VerifyAgainst(ctx, o, []*ledger.TreeHead{head}, false, nil)
	if err != nil || v.OK || !strings.Contains(v.FirstProblem.What, "rewritten") {
		t.Errorf("%+v, %v", v.FirstProblem, err)
	}
}

func mustIndex(t *testing.T, o store.Options, id string) (n int64) {
	t.Helper()
	if err := raw(t, o.Database).QueryRow(`SELECT idx FROM entries WHERE id = ?`, id).Scan(&n); err != nil {
		t.Fatal(err)
	}
	return n
}

// Witnesses are told of the newest head, also when the store closes, and again after they failed.
func TestWitness(t *testing.T) {
	w := storetest.New(t, storetest.Config{})
	closed(w)
	var told []string
	failures := 0
	w.Options.Witnesses = []func(string) error{func(note string) error {
		if failures++; failures == 1 {
			return context.DeadlineExceeded
		}
		told = append(told, note)
		return nil
	}}
	reopen(w)
	for range 5 {
		w.Append(w.SignOff(w.Supervisors[0], w.Apprentices[0], w.Tasks[0], nil))
	}
	head, err := w.Store.TreeHead(ctx)
	if err != nil {
		t.Fatal(err)
	}
	closed(w)
	if len(told) == 0 || told[len(told)-1] != head.Note {
		t.Errorf("told %d heads, the last %q", len(told), told)
	}
}

func TestOpenMatters(t *testing.T) {
	w := storetest.New(t, storetest.Config{})
	w.FullHistory()
	w.Clock.Add(48 * time.Hour) // a record of today is kept today, whatever the policy's years, and a role's last day still counts
	for _, c := range []struct {
		member *storetest.Member
		want   []string
	}{
		{w.Apprentices[0], []string{ledger.EraseRole, ledger.EraseAgreement, ledger.EraseDispute}},
		{w.Apprentices[1], []string{ledger.EraseRole, ledger.EraseAgreement, ledger.EraseCase}},
		{w.Apprentices[3], nil},
	} {
		keeping, against, err := w.Store.Keeping(ctx, c.member.ID, w.Today(), storetest.Zone)
		var got []string
		for _, a := range against {
			got = append(got, a.Code)
		}
		if err != nil || !slices.Equal(got, c.want) || len(keeping) == 0 {
			t.Errorf("%s: %v, %v", c.member.Name, got, err)
		}
	}
}
