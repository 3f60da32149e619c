package store_test

import (
	"bytes"
	"database/sql"
	"encoding/base64"
	"errors"
	"fmt"
	"math/big"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"golang.org/x/mod/sumdb/tlog"

	"brakewright/store"
	"brakewright/store/ledger"
	"brakewright/store/storetest"
)

// notTampered are the tables that verify does not look at, each with why. A new table belongs here or to those below: see
// TestEveryTableHasItsPlace.
var notTampered = map[string]string{
	"jobs": "drafts", "taps": "drafts", "photos": "drafts: once signed, a photograph is a personal field", "open_tests": "drafts", "draft_answers": "drafts",
	"key_requests": "drafts", "signings": "drafts: what waits for a passkey", "programme_drafts": "drafts", "sessions": "log-in", "login_codes": "log-in", "failures": "throttling", "verdict_cache": "a cache",
	"bookkeeping": "migration bookkeeping", "goose_db_version": "migration bookkeeping", "sqlite_sequence": "the engine's own",
}

// What is tampered with: every other table.
func coveredTables() []string {
	return append(store.ProjectionTables(), "entries", "personal", "contents", "tree", "tree_head")
}

// forger edits a database file past all its guards, and puts the guards back.
type forger struct {
	t        testing.TB
	db       *sql.DB
	rng      *rand.Rand
	triggers map[string]string
	older    string // the file as it was earlier
}

func newForger(t testing.TB, path, older string, seed uint64) *forger {
	f := &forger{t: t, db: raw(t, path+"?_recursive_triggers=off&_foreign_keys=off"), rng: rand.New(rand.NewPCG(seed, 1)), triggers: map[string]string{}, older: older}
	rows, err := f.db.Query(`SELECT name, sql FROM sqlite_schema WHERE type = 'trigger'`)
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	for rows.Next() {
		var name, text string
		if err := rows.Scan(&name, &text); err != nil {
			t.Fatal(err)
		}
		f.triggers[name] = text
	}
	return f
}

// forge makes one edit and says which.
func (f *forger) forge() string {
	for name := range f.triggers {
		mustExec(f.t, f.db, `DROP TRIGGER `+name)
	}
	mustExec(f.t, f.db, `ATTACH DATABASE ? AS older`, f.older)
	what := ""
	for what == "" {
		what = f.edit()
	}
	mustExec(f.t, f.db, `DETACH DATABASE older`)
	for _, text := range f.triggers {
		mustExec(f.t, f.db, text)
	}
	return what
}

type column struct {
	name, typ string
	key       bool
}

func (f *forger) columns(table string) (all []column) {
	rows, err := f.db.Query(`SELECT name, type, pk FROM pragma_table_info(?)`, table)
	if err != nil {
		f.t.Fatal(err)
	}
	defer rows.Close()
	for rows.Next() {
		var c column
		var pk int
		if err := rows.Scan(&c.name, &c.typ, &pk); err != nil {
			f.t.Fatal(err)
		}
		c.key = pk > 0
		all = append(all, c)
	}
	return all
}

// row is a random row's values.
func (f *forger) row(from, table string, columns []column) []any {
	var n int
	if err := f.db.QueryRow(`SELECT COUNT(*) FROM ` + from + `.` + table).Scan(&n); err != nil {
		f.t.Fatal(err)
	}
	if n == 0 {
		return nil
	}
	values, to := make([]any, len(columns)), make([]any, len(columns))
	for i := range values {
		to[i] = &values[i]
	}
	if err := f.db.QueryRow(`SELECT * FROM `+from+`.`+table+` LIMIT 1 OFFSET ?`, f.rng.IntN(n)).Scan(to...); err != nil {
		f.t.Fatal(err)
	}
	return values
}

// where finds a row by its key.
func where(columns []column, values []any) (string, []any) {
	var parts []string
	var args []any
	for i, c := range columns {
		if c.key {
			parts = append(parts, c.name+` = ?`)
			args = append(args, values[i])
		}
	}
	return strings.Join(parts, ` AND `), args
}

// changed is another value of the same type.
func (f *forger) changed(v any) any {
	switch x := v.(type) {
	case int64:
		return x + int64(f.rng.IntN(3)+1)
	case string:
		if x == "" || f.rng.IntN(3) == 0 {
			return x + string(rune('a'+f.rng.IntN(26)))
		}
		b := []byte(x)
		i := f.rng.IntN(len(b))
		b[i] = "0123456789abcdefX"[(strings.IndexByte("0123456789abcdefX", b[i])+1+f.rng.IntN(16))%17]
		return string(b)
	case []byte:
		b := bytes.Clone(x)
		if len(b) == 0 || f.rng.IntN(8) == 0 {
			return append(b, byte(f.rng.IntN(256)))
		}
		if f.rng.IntN(8) == 0 {
			return b[:len(b)-1]
		}
		b[f.rng.IntN(len(b))] ^= 1 << f.rng.IntN(8)
		return b
	}
	f.t.Fatalf("a value of type %T", v)
	return nil
}

// edit tries one random edit; "" if it would change nothing or the engine's own constraints refuse it.
func (f *forger) edit() string {
	tables := coveredTables()
	table := tables[f.rng.IntN(len(tables))]
	columns := f.columns(table)
	row := f.row("main", table, columns)
	if row == nil {
		return ""
	}
	at := f.rng.IntN(len(columns))
	cond, key := where(columns, row)
	update := func(value any) bool {
		if fmt.Sprint(value) == fmt.Sprint(row[at]) {
			return false
		}
		_, err := f.db.Exec(`UPDATE `+table+` SET `+columns[at].name+` = ? WHERE `+cond, append([]any{value}, key...)...)
		return err == nil
	}
	insert := func(values []any) bool {
		marks := strings.TrimSuffix(strings.Repeat("?,", len(values)), ",")
		_, err := f.db.Exec(`INSERT INTO `+table+` VALUES (`+marks+`)`, values...)
		return err == nil
	}
	name := fmt.Sprintf("%s %v: ", table, key)
	switch f.rng.IntN(7) {
	case 0, 1, 2: // a field changed
		if value := f.changed(row[at]); update(value) {
			return name + fmt.Sprintf("%s from %v to %v", columns[at].name, row[at], value)
		}
	case 3: // a row deleted
		mustExec(f.t, f.db, `DELETE FROM `+table+` WHERE `+cond, key...)
		return name + "deleted"
	case 4: // a row inserted: another's copy under another key
		copied := slices.Clone(row)
		for i, c := range columns {
			if c.key || c.name == "id" || f.rng.IntN(4) == 0 {
				copied[i] = f.changed(copied[i])
			}
		}
		if insert(copied) {
			return name + "copied to a new row"
		}
	case 5: // two rows swapped, but for the key
		other := f.row("main", table, columns)
		for i, c := range columns {
			if !c.key {
				at = i
			}
		}
		otherCond, otherKey := where(columns, other)
		mine := row[at]
		if fmt.Sprint(other[at]) == fmt.Sprint(mine) || columns[at].key {
			return ""
		}
		if !update(other[at]) {
			return ""
		}
		if _, err := f.db.Exec(`UPDATE `+table+` SET `+columns[at].name+` = ? WHERE `+otherCond, append([]any{mine}, otherKey...)...); err != nil {
			return name + columns[at].name + " copied from another row"
		}
		return name + columns[at].name + " swapped with another row"
	case 6: // a row put back as it was, or brought back, from an older copy
		old := f.row("older", table, columns)
		if old == nil {
			return ""
		}
		oldCond, oldKey := where(columns, old)
		now := make([]any, len(columns))
		to := make([]any, len(columns))
		for i := range now {
			to[i] = &now[i]
		}
		err := f.db.QueryRow(`SELECT * FROM `+table+` WHERE `+oldCond, oldKey...).Scan(to...)
		if err == nil && fmt.Sprint(now) == fmt.Sprint(old) {
			return "" // unchanged since
		}
		mustExec(f.t, f.db, `DELETE FROM `+table+` WHERE `+oldCond, oldKey...)
		if !insert(old) {
			f.t.Fatalf("%s: the older row does not go in", name)
		}
		return name + "as in an older copy"
	}
	return ""
}

// Random edits of random rows: Verify with the key file and the last head notices every one. (Without the head it cannot
// notice that the newest entries were cut off together with all that follows from them: see TestWhatVerifyCannotSee.)
func TestTampering(t *testing.T) {
	w := storetest.New(t, storetest.Config{})
	older := filepath.Join(t.TempDir(), "older.db")
	if _, err := store.Backup(ctx, w.Options, older, nil); err != nil {
		t.Fatal(err)
	}
	w.FullHistory()
	head, err := w.Store.TreeHead(ctx)
	if err != nil {
		t.Fatal(err)
	}
	path := closed(w)
	for _, table := range coveredTables() {
		var n int
		if err := raw(t, path).QueryRow(`SELECT COUNT(*) FROM ` + table).Scan(&n); err != nil || n == 0 {
			t.Fatalf("table %s has %d rows to tamper with, %v", table, n, err)
		}
	}
	whole, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	noticed, tables := 0, map[string]int{}
	edits := long(2000)
	for i := range edits {
		o := w.Options
		o.Database = filepath.Join(t.TempDir(), "forged.db")
		if err := os.WriteFile(o.Database, whole, 0o600); err != nil {
			t.Fatal(err)
		}
		f := newForger(t, o.Database, older, uint64(i))
		what := f.forge()
		f.db.Close()
		v, err := store.VerifyAgainst(ctx, o, []*ledger.TreeHead{head}, false, nil)
		if err != nil {
			t.Fatalf("edit %d, %s: %v", i, what, err)
		}
		if v.OK {
			t.Errorf("edit %d was not noticed: %s", i, what)
			continue
		}
		if v.FirstProblem == nil || v.FirstProblem.What == "" {
			t.Errorf("edit %d, %s: nothing is named", i, what)
		}
		noticed++
		tables[strings.Fields(what)[0]]++
		if err := os.Remove(o.Database); err != nil {
			t.Fatal(err)
		}
	}
	t.Logf("noticed %d of %d: %v", noticed, edits, tables)
}

// Edits that are easy to get past a verifier, by name.
func TestTamperingByName(t *testing.T) {
	w := storetest.New(t, storetest.Config{})
	past := w.FullHistory()
	path := closed(w)
	sam := w.Supervisors[0]
	for _, c := range []struct {
		name  string
		table string
		edit  string
		args  []any
	}{
		{"a result made better", "entries", `UPDATE entries SET leaf = CAST(replace(CAST(leaf AS TEXT), '"result":"taken_over"', '"result":"unaided"') AS BLOB) WHERE id = ?`, []any{past["second job"]}},
		{"a seed changed, which no projection holds", "entries", `UPDATE entries SET leaf = CAST(replace(CAST(leaf AS TEXT), '18446744073709551615', '18446744073709551614') AS BLOB) WHERE id = ?`, []any{past["test"]}},
		{"a signature dropped where none is needed", "entries", `UPDATE entries SET leaf = CAST(replace(CAST(leaf AS TEXT), '"recorded_at":', '"recorded_at": ') AS BLOB) WHERE idx = 3`, nil},
		{"evidence made better", "evidence", `UPDATE evidence SET record = replace(record, 'taken_over', 'unaided') WHERE entry_id = ?`, []any{past["second job"]}},
		{"a stand-down lifted", "evidence", `DELETE FROM evidence WHERE entry_id = ?`, []any{past["stand-down of all"]}},
		{"an appointment widened", "appointments", `UPDATE appointments SET task = 'hose' WHERE idx = (SELECT MIN(idx) FROM appointments)`, nil},
		{"a role made a coordinator's", "roles", `UPDATE roles SET role = 'coordinator' WHERE person_id = ?`, []any{sam.ID}},
		{"a key swapped", "signing_keys", `UPDATE signing_keys SET public = (SELECT public FROM signing_keys WHERE id <> ? LIMIT 1) WHERE id = ?`, []any{sam.Signer.Key, sam.Signer.Key}},
		{"a key brought to life again", "signing_keys", `UPDATE signing_keys SET ended_at = 0, ended_why = '' WHERE ended_at > 0`, nil},
		{"a password replaced", "people", `UPDATE people SET password = (SELECT password FROM people WHERE id = ?) WHERE id <> ?`, []any{sam.ID, sam.ID}},
		{"a password's hash replaced in its place", "contents", `UPDATE contents SET bytes = x'78' WHERE hash = (SELECT password FROM people WHERE id = ?)`, []any{sam.ID}},
		{"a log-in name moved to another person", "people", `UPDATE people SET login_entry = (SELECT login_entry FROM people WHERE id = ?) WHERE id <> ?`, []any{sam.ID, sam.ID}},
		{"content nobody named", "contents", `INSERT INTO contents (hash, bytes) VALUES ('2d711642b726b04401627ca9fbac32f5c8530fb1903cc4db02258717921a4881', x'78')`, nil},
		{"a note moved to another entry", "personal", `UPDATE personal SET entry_id = ? WHERE entry_id = ? AND field = 'notes'`, []any{past["late job"], past["job"]}},
		{"a note swapped with another field", "personal", `UPDATE personal SET sealed = (SELECT sealed FROM personal WHERE entry_id = ?1 AND field = 'work_order') WHERE entry_id = ?1 AND field = 'notes'`, []any{past["job"]}},
		{"a note given to another person", "personal", `UPDATE personal SET person_id = ? WHERE entry_id = ?`, []any{sam.ID, past["job"]}},
		{"a note deleted", "personal", `DELETE FROM personal WHERE entry_id = ? AND field = 'notes'`, []any{past["job"]}},
		{"a note on an entry that has none", "personal", `INSERT INTO personal SELECT ?, field, person_id, sealed FROM personal WHERE entry_id = ? AND field = 'notes'`, []any{past["reading 0"], past["job"]}},
		{"a note on no entry", "personal", `INSERT INTO personal SELECT 'none', field, person_id, sealed FROM personal WHERE entry_id = ? AND field = 'notes'`, []any{past["job"]}},
		{"the window widened", "adoptions", `UPDATE adoptions SET backdating_days = 1000`, nil},
		{"a demo made real", "founding", `UPDATE founding SET demo = 1`, nil},
		{"another origin", "founding", `UPDATE founding SET origin = 'brakes.example/other'`, nil},
		{"a guard removed", "sqlite_schema", `DROP TRIGGER contents_no_update`, nil},
		{"a trigger added", "sqlite_schema", `CREATE TRIGGER x AFTER INSERT ON evidence BEGIN DELETE FROM evidence WHERE type = 'return'; END`, nil},
		{"a view added", "sqlite_schema", `CREATE VIEW v AS SELECT 1`, nil},
		{"a table added", "sqlite_schema", `CREATE TABLE extra (x)`, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			o := w.Options
			o.Database = copyTo(t, path)
			f := newForger(t, o.Database, path, 0)
			for name := range f.triggers {
				mustExec(t, f.db, `DROP TRIGGER `+name)
			}
			if strings.HasPrefix(c.edit, "DROP") {
				delete(f.triggers, strings.Fields(c.edit)[2])
			} else {
				r, err := f.db.Exec(c.edit, c.args...)
				if err != nil {
					t.Fatal(err)
				}
				if n, _ := r.RowsAffected(); n == 0 && c.table != "sqlite_schema" {
					t.Fatal("nothing was changed")
				}
			}
			for _, text := range f.triggers {
				mustExec(t, f.db, text)
			}
			f.db.Close()
			v, err := store.Verify(ctx, o, false, nil)
			if err != nil {
				t.Fatal(err)
			}
			if v.OK || v.FirstProblem.Table != c.table {
				t.Errorf("ok %v, first problem %+v", v.OK, v.FirstProblem)
			}
		})
	}
}

// With the database, the key file and the source, but nobody's passphrase: no sign-off, clearance, key or coordinator can
// be put in that Verify accepts, nor can a rebuild be made to accept it.
func TestForgery(t *testing.T) {
	w := storetest.New(t, storetest.Config{})
	past := w.FullHistory()
	sue := w.Supervisors[1]
	sam, pat, ada, cora := w.Supervisors[0], w.Apprentices[0], w.Coordinators[0], w.Coordinators[1]
	id := w.ID()
	mine, public, sealed, err := ledger.NewKey(w.Random, id, sam.ID, "the forger's own")
	if err != nil {
		t.Fatal(err)
	}
	as := func(key, person string) *ledger.Signer { // the forger's secret under another's name
		k := *mine
		k.Key, k.Person = key, person
		return &k
	}
	unsigned := func(s *ledger.Submission) *ledger.Submission { s.Signatures = nil; return s }
	signedBy := func(s *ledger.Submission, keys ...*ledger.Signer) *ledger.Submission {
		s.Signatures = nil
		for _, k := range keys {
			if err := s.Sign(k); err != nil {
				t.Fatal(err)
			}
		}
		return s
	}
	signOff := func() *ledger.Submission { return w.SignOff(sam, pat, w.Tasks[0], nil) }
	newKey := func(signers ...*ledger.Signer) *ledger.Submission {
		return w.Make(sam.ID, ledger.KeyAdded, sam.ID, ledger.KeyAddedPayload{Key: ledger.MarshalKey(id, public)}, nil, map[string][]byte{"sealed_key": sealed}, signers...)
	}
	clearance := func() *ledger.Submission {
		return w.Make(sam.ID, ledger.ClearanceGiven, pat.ID, ledger.ClearancePayload{Task: w.Tasks[0], Programme: ledger.Hash(nil), Program: "x"}, nil,
			map[string][]byte{"verdict": []byte("{}"), "policy": []byte("{}"), "parameters": []byte("{}")})
	}
	transplanted := func() *ledger.Submission { // a real signature under another body
		s, other := signOff(), signOff()
		s.Signatures = other.Signatures
		return s
	}
	for _, c := range []struct {
		name string
		subs []*ledger.Submission
	}{
		{"a sign-off without a signature", []*ledger.Submission{unsigned(signOff())}},
		{"a sign-off signed by a key of one's own making", []*ledger.Submission{signedBy(signOff(), mine)}},
		{"a sign-off signed under the id of a real key", []*ledger.Submission{signedBy(signOff(), as(sam.Signer.Key, sam.ID))}},
		{"a sign-off with a signature from elsewhere", []*ledger.Submission{transplanted()}},
		{"a clearance without a signature", []*ledger.Submission{clearance()}},
		{"a clearance signed under the id of a real key", []*ledger.Submission{signedBy(clearance(), as(sam.Signer.Key, sam.ID))}},
		{"a new key that no coordinator signed", []*ledger.Submission{newKey(mine), signedBy(signOff(), mine)}},
		{"a new key signed under the id of a coordinator's", []*ledger.Submission{newKey(mine, as(ada.Signer.Key, ada.ID)), signedBy(signOff(), mine)}},
		{"a coordinator made without a signature", []*ledger.Submission{
			w.Make(cora.ID, ledger.RoleGranted, sam.ID, ledger.RolePayload{Role: "coordinator", From: w.Today()}, nil, nil)}},
		{"an appointment without a signature", []*ledger.Submission{
			w.Make(cora.ID, ledger.Appointed, sam.ID, ledger.AppointmentPayload{Task: "hose", From: w.Today()}, nil, nil)}},
		{"a dispute settled without a signature", []*ledger.Submission{w.Make(ada.ID, ledger.DisputeSettled, pat.ID,
			ledger.SettlementPayload{Disputes: past["handed in"]}, map[string]string{"reason": "r"}, nil)}},
		{"a sign-off corrected under the id of a real key", []*ledger.Submission{func() *ledger.Submission {
			h := ledger.Head{Type: ledger.Corrected, At: w.Clock.Now().UnixMilli(), Zone: storetest.Zone, Actor: sam.ID, Subject: pat.ID, Corrects: past["second job"]}
			return w.MakeHead(h, ledger.CorrectionPayload{Withdraw: true}, map[string]string{"reason": "r"}, nil, as(sam.Signer.Key, sam.ID))
		}()}},
		{"a recognition by one person and a forged second", []*ledger.Submission{w.Make(sam.ID, ledger.Recognised, pat.ID,
			ledger.RecognitionPayload{Task: w.Tasks[0], StandsFor: []string{"jobs"}}, map[string]string{"reason": "r"}, nil, sam.Signer, as(ada.Signer.Key, ada.ID))}},
		{"a countersignature by nobody", []*ledger.Submission{w.Make(pat.ID, ledger.Countersigned, pat.ID, ledger.CountersignedPayload{Entry: past["job"]}, nil, nil)}},
		{"a restore without a signature", []*ledger.Submission{w.Make(sue.ID, ledger.Restored, w.Apprentices[2].ID, ledger.RestorePayload{}, map[string]string{"reason": "r"}, nil)}},
		{"a second founding", []*ledger.Submission{
			w.Make("intruder", ledger.Opening, "intruder", ledger.OpeningPayload{Origin: "o", Title: "t", Key: ledger.MarshalKey(id, public)},
				map[string]string{"name": "n", "login": "l"}, map[string][]byte{"password": nil, "sealed_key": sealed, "data_key": nil}, as(id, "intruder"))}},
	} {
		t.Run(c.name, func(t *testing.T) {
			o := w.Options
			o.Database = filepath.Join(t.TempDir(), "forged.db")
			if _, err := store.Backup(ctx, w.Options, o.Database, nil); err != nil {
				t.Fatal(err)
			}
			s, err := store.Open(ctx, o)
			if err != nil {
				t.Fatal(err)
			}
			if _, err := s.AppendAll(ctx, c.subs...); err == nil {
				t.Error("the front door let it in")
			}
			if err := s.Close(); err != nil {
				t.Fatal(err)
			}
			db := raw(t, o.Database)
			for _, sub := range c.subs {
				leaf, err := sub.Leaf(w.Clock.Now().UnixMilli())
				if err != nil {
					t.Fatal(err)
				}
				mustExec(t, db, `INSERT INTO entries (idx, id, leaf) SELECT MAX(idx) + 1, ?, ? FROM entries`, sub.Body.ID, leaf)
				for _, b := range sub.Content {
					mustExec(t, db, `INSERT INTO contents (hash, bytes) VALUES (?, ?) ON CONFLICT DO NOTHING`, ledger.Hash(b), append([]byte{}, b...))
				}
			}
			db.Close()
			if _, err := store.Rebuild(ctx, o, false, nil); !errors.Is(err, store.ErrDamaged) {
				t.Errorf("a rebuild takes it: %v", err)
			}
			v, err := store.Verify(ctx, o, false, nil)
			if err != nil || v.OK || v.FirstProblem.Table != "entries" || v.FirstProblem.Index != entries(t, w.Store) {
				t.Errorf("%+v, %v", v, err)
			}
		})
	}
	mustVerify(t, w.Options)
}

// What a forger can make of entries that were signed in good faith, without anybody's passphrase: every one is named, by
// verify and by a rebuild, also with the tree made anew under a head of the forger's own signing.
func TestForgeryFromSignedEntries(t *testing.T) {
	w := storetest.New(t, storetest.Config{})
	past := w.FullHistory()
	sam, sue, pat := w.Supervisors[0], w.Supervisors[1], w.Apprentices[0]
	size := entries(t, w.Store)
	leafOf := func(name string) string {
		e, err := w.Store.Entry(ctx, past[name])
		if err != nil {
			t.Fatal(err)
		}
		return string(e.Leaf)
	}
	fresh := func() (*ledger.Submission, string) { // a sign-off that could be appended, were it not changed
		s := w.SignOff(sam, pat, w.Tasks[0], nil)
		leaf, err := s.Leaf(w.Clock.Now().UnixMilli())
		if err != nil {
			t.Fatal(err)
		}
		return s, string(leaf)
	}
	sub, signed := fresh()
	_, other := fresh()
	with := func(old, new string) string {
		t.Helper()
		if !strings.Contains(signed, old) {
			t.Fatalf("%q is not in %s", old, signed)
		}
		return strings.Replace(signed, old, new, 1)
	}
	sig := sub.Signatures[0]
	raw64 := func(b []byte) string { return base64.StdEncoding.EncodeToString(b) }
	rawSig, err := base64.StdEncoding.DecodeString(sig.Sig)
	if err != nil {
		t.Fatal(err)
	}
	recorded := fmt.Sprintf(`"recorded_at":%d`, w.Clock.Now().UnixMilli())
	signatureOf := func(leaf string) string { return leaf[strings.Index(leaf, `"signatures":`):] }
	for name, leaf := range map[string]string{
		"the version changed":                       with(`"v":1,`, `"v":2,`),
		"the zone changed":                          with(`"zone":"America/Denver"`, `"zone":"America/Phoenix"`),
		"the moment changed":                        with(`"happened_at":`+fmt.Sprint(sub.Body.HappenedAt), `"happened_at":`+fmt.Sprint(sub.Body.HappenedAt-1)),
		"the actor changed":                         strings.ReplaceAll(signed, sam.ID, sue.ID),
		"the subject changed":                       strings.ReplaceAll(signed, pat.ID, w.Apprentices[1].ID),
		"the id changed, to sign once more":         strings.ReplaceAll(signed, sub.Body.ID, w.ID()),
		"the type changed":                          with(`"type":"sign_off"`, `"type":"spot_check"`),
		"a result changed":                          with(`"result":"unaided"`, `"result":"prompted"`),
		"a field added":                             with(`"v":1,`, `"v":1,"w":1,`),
		"a key twice":                               with(`"v":1,`, `"v":1,"v":1,`),
		"a key twice, the payload":                  with(`"payload":{`, `"payload":{},"payload":{`),
		"a letter written as an escape":             with(`"type":"sign_off"`, `"type":"sign\u005foff"`),
		"a letter that looks like it":               with(`"task":"bleed-by-two"`, `"task":"bl\u0435ed-by-two"`),
		"a letter in two pieces":                    with(`"vehicle":"bench-wagon"`, "\"vehicle\":\"be\u0301nch-wagon\""),
		"a space":                                   with(`"v":1,`, `"v":1 ,`),
		"a number written otherwise":                with(`"v":1,`, `"v":1.0,`),
		"a line after the end":                      signed + "\n",
		"the signature of another entry":            signed[:strings.Index(signed, `"signatures":`)] + signatureOf(other),
		"the signature of an entry of the past":     signed[:strings.Index(signed, `"signatures":`)] + signatureOf(leafOf("job")),
		"the signature under another's key":         with(sig.Key, sue.Signer.Key),
		"the signature under another algorithm":     with(`"alg":"ed25519"`, `"alg":"ed25519ph"`),
		"the signature twice":                       with(`"signatures":[`, `"signatures":[`+strings.TrimSuffix(strings.TrimPrefix(signatureOf(signed), `"signatures":[`), "]}")+","),
		"the signature with the order added":        with(sig.Sig, raw64(plusOrder(rawSig))),
		"the signature cut short":                   with(sig.Sig, raw64(rawSig[:63])),
		"the signature of zeros":                    with(sig.Sig, raw64(make([]byte, 64))),
		"the signature in another base64":           with(sig.Sig, strings.TrimRight(sig.Sig, "=")),
		"an entry of the past once more":            leafOf("job"),
		"an entry of the past under another time":   leafOf("job")[:strings.Index(leafOf("job"), `"recorded_at":`)] + recorded + "," + signatureOf(leafOf("job")),
		"recorded before the entry that it follows": with(recorded, `"recorded_at":1`),
		"another's key entry as one's own":          strings.ReplaceAll(leafOf("apprentice's key"), w.Apprentices[1].ID, sam.ID),
		"the opening once more":                     leafOfIndex(t, w, 0),
		"the opening once more, with another key":   strings.Replace(leafOfIndex(t, w, 0), raw64(w.Coordinators[0].Signer.Public()), raw64(sam.Signer.Public()), 1),
		"two hashes, as an inner node has them":     string(make([]byte, 64)),
		"nothing":                                   "",
	} {
		t.Run(name, func(t *testing.T) {
			for _, grown := range []bool{false, true} {
				o := w.Options
				o.Database = filepath.Join(t.TempDir(), "forged.db")
				if _, err := store.Backup(ctx, w.Options, o.Database, nil); err != nil {
					t.Fatal(err)
				}
				if grown { // the tree and its head follow, signed with the key file
					s, err := store.Open(ctx, o)
					if err != nil {
						t.Fatal(err)
					}
					if err := s.AppendLeaf(ctx, "forged", []byte(leaf)); err != nil {
						t.Fatal(err)
					}
					if err := s.Close(); err != nil {
						t.Fatal(err)
					}
				}
				db := raw(t, o.Database)
				if !grown {
					mustExec(t, db, `INSERT INTO entries (idx, id, leaf) SELECT MAX(idx) + 1, 'forged', ? FROM entries`, []byte(leaf))
				}
				mustExec(t, db, `DROP TRIGGER entries_no_update`)
				id := strings.SplitN(leaf+`"id":"none"`, `"id":"`, 2)[1]
				if _, err := db.Exec(`UPDATE entries SET id = ? WHERE id = 'forged'`, id[:strings.Index(id, `"`)]); err != nil && !strings.Contains(err.Error(), "UNIQUE") {
					t.Fatal(err)
				}
				mustExec(t, db, `CREATE TRIGGER entries_no_update BEFORE UPDATE ON entries
BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END`)
				db.Close()
				v, err := store.Verify(ctx, o, grown, nil)
				if err != nil || v.OK || v.FirstProblem.Table != "entries" || v.FirstProblem.Index != size {
					t.Errorf("tree grown %v: %+v, %v", grown, v.FirstProblem, err)
				}
				if grown {
					continue
				}
				if _, err := store.Rebuild(ctx, o, false, nil); !errors.Is(err, store.ErrDamaged) {
					t.Errorf("a rebuild takes it: %v", err)
				}
			}
		})
	}
	mustVerify(t, w.Options)
}

// plusOrder is the same signature with the group's order added to its second half, as a sloppy verifier would take it
// (RFC 8032, 8.4).
func plusOrder(sig []byte) []byte {
	order, _ := new(big.Int).SetString("7237005577332262213973186563042994240857116359379907606001950938285454250989", 10)
	s := new(big.Int)
	for i := 63; i >= 32; i-- {
		s.Lsh(s, 8).Or(s, big.NewInt(int64(sig[i])))
	}
	s.Add(s, order)
	out := bytes.Clone(sig)
	for i := 32; i < 64; i++ {
		out[i] = byte(new(big.Int).And(s, big.NewInt(255)).Int64())
		s.Rsh(s, 8)
	}
	return out
}

func leafOfIndex(t *testing.T, w *storetest.World, index int64) string {
	t.Helper()
	list, err := w.Store.Entries(ctx, store.EntryFilter{Limit: int(index) + 1})
	if err != nil {
		t.Fatal(err)
	}
	return string(list[index].Leaf)
}

// With the key file personal rows can be sealed anew; what is put in the place of another is still not what the entry names.
func TestForgeryOfPersonalRows(t *testing.T) {
	w := storetest.New(t, storetest.Config{})
	past := w.FullHistory()
	sam := w.Supervisors[0]
	r := w.Append(w.SignOff(sam, w.Apprentices[1], w.Tasks[0], nil)) // the same words about another person
	head, err := w.Store.TreeHead(ctx)
	if err != nil {
		t.Fatal(err)
	}
	path := closed(w)
	for name, edit := range map[string]func(f *store.Resealer){
		"another text under the same salt": func(f *store.Resealer) {
			f.Reseal(past["job"], "notes", func(x ledger.PersonalField) ledger.PersonalField { x.Value = []byte("dirty work"); return x })
		},
		"the same text under another salt": func(f *store.Resealer) {
			f.Reseal(past["job"], "notes", func(x ledger.PersonalField) ledger.PersonalField { x.Salt[0] ^= 1; return x })
		},
		"salt and text of another field": func(f *store.Resealer) {
			other := f.Opened(past["job"], "work_order")
			f.Reseal(past["job"], "notes", func(ledger.PersonalField) ledger.PersonalField { return other })
		},
		"salt and text of another person's, the same words": func(f *store.Resealer) {
			other := f.Opened(r.ID, "notes")
			f.Reseal(past["job"], "notes", func(x ledger.PersonalField) ledger.PersonalField { other.Person = x.Person; return other })
		},
		"a byte moved from the text into the salt": func(f *store.Resealer) {
			f.Reseal(past["job"], "notes", func(x ledger.PersonalField) ledger.PersonalField {
				all := append(append([]byte{}, x.Salt[:]...), x.Value...)
				copy(x.Salt[:], all[1:33])
				x.Value = all[33:]
				return x
			})
		},
		"two people's rows swapped": func(f *store.Resealer) {
			a, b := f.Opened(past["job"], "notes"), f.Opened(r.ID, "notes")
			f.Reseal(past["job"], "notes", func(x ledger.PersonalField) ledger.PersonalField { b.Person = x.Person; return b })
			f.Reseal(r.ID, "notes", func(x ledger.PersonalField) ledger.PersonalField { a.Person = x.Person; return a })
		},
	} {
		t.Run(name, func(t *testing.T) {
			o := w.Options
			o.Database = copyTo(t, path)
			f := store.NewResealer(t, o)
			edit(f)
			f.Close()
			v, err := store.VerifyAgainst(ctx, o, []*ledger.TreeHead{head}, false, nil)
			if err != nil || v.OK || v.FirstProblem.Table != "personal" {
				t.Errorf("%+v, %v", v.FirstProblem, err)
			}
		})
	}
}

// A head of another origin, or of another ledger under the same key, is none of this one.
func TestForeignHeads(t *testing.T) {
	w := storetest.New(t, storetest.Config{})
	head, err := w.Store.TreeHead(ctx)
	if err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		origin string
		size   int64
		root   tlog.Hash
	}{"another origin": {"brakes.example/other", head.Size, head.Root}, "another root": {head.Origin, head.Size, ledger.LeafHash(nil)}, "a longer one": {head.Origin, head.Size + 1, head.Root}} {
		key, err := ledger.NewHeadKey(c.origin, w.Options.Keys.HeadSeed)
		if err != nil {
			t.Fatal(err)
		}
		note, err := key.SignHead(c.size, c.root)
		if err != nil {
			t.Fatal(err)
		}
		foreign, err := ledger.ParseHead(note)
		if err != nil {
			t.Fatal(err)
		}
		if v, err := store.VerifyAgainst(ctx, w.Options, []*ledger.TreeHead{foreign}, false, nil); err != nil || v.OK {
			t.Errorf("given, %s: %+v, %v", name, v, err)
		}
		o := w.Options
		o.Database = filepath.Join(t.TempDir(), "forged.db")
		if _, err := store.Backup(ctx, w.Options, o.Database, nil); err != nil {
			t.Fatal(err)
		}
		db := raw(t, o.Database)
		mustExec(t, db, `DROP TRIGGER tree_head_grows`)
		mustExec(t, db, `UPDATE tree_head SET size = ?, note = ?`, c.size, note)
		db.Close()
		if v, err := store.Verify(ctx, o, true, nil); err != nil || v.OK {
			t.Errorf("in its place, %s: %+v, %v", name, v, err)
		}
	}
}

// Without the key file personal rows are counted and said not to be examined; all else is noticed as before.
func TestVerifyWithoutTheKeyFile(t *testing.T) {
	w := storetest.New(t, storetest.Config{})
	past := w.FullHistory()
	path := closed(w)
	o := w.Options
	o.Keys = nil
	v := mustVerify(t, o)
	if !slices.Equal(v.NotExamined, []string{"head_signature", "personal", "rollback"}) {
		t.Errorf("not examined: %v", v.NotExamined)
	}
	o.Database = copyTo(t, path)
	db := raw(t, o.Database)
	mustExec(t, db, `DROP TRIGGER personal_no_update`)
	mustExec(t, db, `DELETE FROM personal WHERE entry_id = ?`, past["job"])
	mustExec(t, db, `CREATE TRIGGER personal_no_update BEFORE UPDATE ON personal
BEGIN SELECT RAISE(ABORT, 'personal values are not edited'); END`)
	v, err := store.Verify(ctx, o, false, nil)
	if err != nil || v.OK || v.FirstProblem.Table != "personal" {
		t.Errorf("%+v, %v", v, err)
	}
	w.Options.Keys, err = store.NewKeyFile(w.Random)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := store.Verify(ctx, w.Options, false, nil); err == nil {
		t.Error("with another key file it has nothing to say")
	}
}

// The honest limit: a database put back to a state that it once had looks whole. Signed tree heads will show it.
func TestWhatVerifyCannotSee(t *testing.T) {
	w := storetest.New(t, storetest.Config{})
	older := filepath.Join(t.TempDir(), "older.db")
	if _, err := store.Backup(ctx, w.Options, older, nil); err != nil {
		t.Fatal(err)
	}
	w.FullHistory()
	head, err := w.Store.TreeHead(ctx)
	if err != nil {
		t.Fatal(err)
	}
	o := w.Options
	o.Database = older
	if v := mustVerify(t, o); !slices.Contains(v.NotExamined, "rollback") {
		t.Errorf("it promises more than it can: %v", v.NotExamined)
	}
	v, err := store.VerifyAgainst(ctx, o, []*ledger.TreeHead{head}, false, nil)
	if err != nil || v.OK || v.FirstProblem.Table != "entries" || v.FirstProblem.Index != v.Entries || slices.Contains(v.NotExamined, "rollback") {
		t.Errorf("%+v, %v", v, err)
	}
}

// Only the ledger: nothing else is looked at, and what is wrong in entries is still found.
func TestVerifyOnlyTheLedger(t *testing.T) {
	w := storetest.New(t, storetest.Config{})
	past := w.FullHistory()
	path := closed(w)
	o := w.Options
	v, err := store.Verify(ctx, o, true, nil)
	if err != nil || !v.OK || v.Entries == 0 {
		t.Fatalf("%+v, %v", v, err)
	}
	var names []string
	for _, c := range v.Checks {
		names = append(names, c.Name)
	}
	if !slices.Equal(names, []string{"entries", "signatures", "rules", "tree"}) {
		t.Errorf("checks %v", names)
	}
	o.Database = copyTo(t, path)
	db := raw(t, o.Database)
	mustExec(t, db, `DROP TRIGGER entries_no_update`)
	mustExec(t, db, `UPDATE entries SET leaf = CAST(replace(CAST(leaf AS TEXT), '"near_miss":true,', '') AS BLOB) WHERE id = ?`, past["second job"])
	v, err = store.Verify(ctx, o, true, nil)
	if err != nil || v.OK || v.FirstProblem.Table != "entries" || !strings.Contains(v.FirstProblem.What, "not those under the signed head") {
		t.Errorf("%+v, %v", v.FirstProblem, err)
	}
}
