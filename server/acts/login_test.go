package acts

import (
	"context"
	"errors"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"brakewright/store"
	"brakewright/store/ledger"
	"brakewright/store/storetest"
)

func (w *world) login(login, password, address string) (string, error) {
	token, _, err := w.LogIn(w.ctx, login, password, address, false)
	return token, err
}

func TestLogIn(t *testing.T) {
	w := newWorld(t)
	token := must[string](t)(w.login(" SAM0 ", storetest.Password("sam0"), "10.0.0.1"))
	if p, err := w.Session(w.ctx, token); err != nil || p.Login != "sam0" {
		t.Fatalf("got %v, %v", p, err)
	}
	for _, r := range [][2]string{{"sam0", "wrong"}, {"nobody", "wrong"}, {"", ""}, {"sam1", storetest.Password("sam0")}} {
		_, err := w.login(r[0], r[1], "10.0.0.2")
		wants(t, err, "login_failed")
	}
	if err := w.LogOut(w.ctx, token); err != nil {
		t.Fatal(err)
	}
	_, err := w.Session(w.ctx, token)
	wants(t, err, "session_over")
	if err := w.LogOut(w.ctx, token); err != nil {
		t.Errorf("logging out twice: %v", err)
	}
	_, err = w.Session(w.ctx, "made up")
	wants(t, err, "session_over")
}

// Delays begin with the fifth failure and double; names that exist and names that do not get the same answers.
func TestThrottleByName(t *testing.T) {
	w := newWorld(t)
	for _, name := range []string{"sam0", "nobody"} {
		for range 5 {
			_, err := w.login(name, "wrong", "")
			wants(t, err, "login_failed")
		}
		for i := range 4 {
			_, err := w.login(name, storetest.Password(name), "")
			wants(t, err, "login_throttled")
			r, _ := AsRefusal(err)
			if want := time.Second << i; r.RetryAfter != want || r.Status != 429 {
				t.Errorf("%s, failure %d: got %v, %d, want %v, 429", name, 5+i, r.RetryAfter, r.Status, want)
			}
			w.Clock.Add(r.RetryAfter)
			_, err = w.login(name, "wrong", "")
			wants(t, err, "login_failed")
		}
		w.Clock.Add(time.Hour)
	}
	must[string](t)(w.login("sam0", storetest.Password("sam0"), ""))
	_, err := w.login("sam0", "wrong", "") // the count began anew
	wants(t, err, "login_failed")
	must[string](t)(w.login("sam0", storetest.Password("sam0"), ""))
}

func TestThrottleByAddress(t *testing.T) {
	w := newWorld(t)
	for i := range 5 {
		_, err := w.login("name"+string(rune('a'+i)), "wrong", "10.0.0.9")
		wants(t, err, "login_failed")
	}
	_, err := w.login("sam0", storetest.Password("sam0"), "10.0.0.9")
	wants(t, err, "login_throttled")
	must[string](t)(w.login("sam0", storetest.Password("sam0"), "10.0.0.10"))
	w.Clock.Add(addressForgiven)
	for range 4 { // forgiven after a quiet while: a workshop behind one address works on
		_, err := w.login("pat3", "wrong", "10.0.0.9")
		wants(t, err, "login_failed")
	}
	must[string](t)(w.login("sam0", storetest.Password("sam0"), "10.0.0.9"))
}

// After a hundred failures in a row only a one-time code helps.
func TestLockedAfterAHundred(t *testing.T) {
	w := newWorld(t)
	for range mostFailures {
		_, err := w.login("sam0", "wrong", "")
		wants(t, err, "login_failed")
		w.Clock.Add(longestDelay)
	}
	w.Clock.Add(24 * time.Hour)
	_, err := w.login("sam0", storetest.Password("sam0"), "")
	wants(t, err, "login_locked")
	code, _, err := w.ShowCode(w.ctx, w.ada(), w.Supervisors[0].ID)
	if err != nil {
		t.Fatal(err)
	}
	token, _, err := w.LogInWithCode(w.ctx, "sam0", code, "")
	wants(t, err, "")
	wants(t, w.SetPassword(w.ctx, w.sam(0), token, "", "seven green lorries at dawn"), "")
	must[string](t)(w.login("sam0", "seven green lorries at dawn", ""))
}

func TestSessionEnds(t *testing.T) {
	w := newWorld(t)
	password := storetest.Password("sam0")
	token := must[string](t)(w.login("sam0", password, ""))
	for range 24 {
		w.Clock.Add(29 * time.Minute)
		if _, err := w.Session(w.ctx, token); err != nil {
			t.Fatalf("in use: %v", err)
		}
	}
	w.Clock.Add(29 * time.Minute) // past twelve hours in all
	_, err := w.Session(w.ctx, token)
	wants(t, err, "session_over")
	token = must[string](t)(w.login("sam0", password, ""))
	w.Clock.Add(31 * time.Minute)
	_, err = w.Session(w.ctx, token)
	wants(t, err, "session_over")
}

func TestCodes(t *testing.T) {
	w := newWorld(t)
	pat, sam := w.pat(0), w.sam(0)
	show := func(actor *store.Person, id string) (string, error) {
		code, _, err := w.ShowCode(w.ctx, actor, id)
		return code, err
	}
	use := func(login, code string) (string, error) {
		token, _, err := w.LogInWithCode(w.ctx, login, code, "")
		return token, err
	}
	// A supervisor helps apprentices back in, never anybody with more rights.
	for _, r := range []struct {
		actor *store.Person
		id    string
		want  string
	}{{pat, sam.ID, "not_allowed"}, {sam, w.Supervisors[1].ID, "not_allowed"}, {sam, w.ada().ID, "not_allowed"}, {sam, sam.ID, "not_allowed"},
		{w.ada(), w.ada().ID, "not_allowed"}, {sam, "nobody", "not_found"}, {sam, pat.ID, ""}, {w.ada(), sam.ID, ""}} {
		_, err := show(r.actor, r.id)
		wants(t, err, r.want)
	}
	first := must[string](t)(show(sam, pat.ID))
	code := must[string](t)(show(sam, pat.ID))
	if len(code) != 14 || strings.Count(code, "-") != 2 {
		t.Errorf("got code %q", code)
	}
	_, err := use("pat0", first)
	wants(t, err, "code_failed") // replaced
	_, err = use("pat1", code)
	wants(t, err, "code_failed") // another's
	typed := strings.ToLower(strings.NewReplacer("-", " ", "0", "O", "1", "l").Replace(code))
	token := must[string](t)(use("pat0", typed))
	_, err = use("pat0", code)
	wants(t, err, "code_failed") // used
	if must, err := w.MustSetPassword(w.ctx, token); err != nil || !must {
		t.Errorf("got %v, %v", must, err)
	}
	other := must[string](t)(w.login("pat0", storetest.Password("pat0"), ""))
	wants(t, w.SetPassword(w.ctx, pat, token, "", "short"), "password_too_short")
	wants(t, w.SetPassword(w.ctx, pat, token, "", "seven green lorries at dawn"), "")
	if must, err := w.MustSetPassword(w.ctx, token); err != nil || must {
		t.Errorf("after setting: %v, %v", must, err)
	}
	_, err = w.Session(w.ctx, other)
	wants(t, err, "session_over")
	wants(t, w.SetPassword(w.ctx, pat, token, "", "nine yellow lorries at dawn"), "password_wrong")
	wants(t, w.SetPassword(w.ctx, sam, token, "", "nine yellow lorries at dawn"), "not_allowed")
	wants(t, w.SetPassword(w.ctx, pat, token, "seven green lorries at dawn", "nine yellow lorries at dawn"), "")

	late := must[string](t)(show(sam, pat.ID))
	w.Clock.Add(codeTime + time.Second)
	_, err = use("pat0", late)
	wants(t, err, "code_failed")
	operator, _, err := w.OperatorCode(w.ctx, "ada")
	wants(t, err, "")
	must[string](t)(use("ada", operator))
}

func TestNoRoleNoLogIn(t *testing.T) {
	w := newWorld(t)
	sam := w.sam(0)
	token := must[string](t)(w.login("sam0", storetest.Password("sam0"), ""))
	if err := w.EndRole(w.ctx, w.ada(), sam.ID, sam.Roles[0].Entry, addDays(w.World.Today(), -1)); err != nil {
		t.Fatal(err)
	}
	_, err := w.login("sam0", storetest.Password("sam0"), "")
	wants(t, err, "no_role")
	if _, err := w.Session(w.ctx, token); err == nil {
		t.Error("the session goes on without a role")
	}
}

// A log-in renews a hash that was made at another cost.
func TestRehash(t *testing.T) {
	w := newWorld(t)
	id := w.Supervisors[0].ID
	before := must[string](t)(w.World.Store.PasswordHash(w.ctx, id))
	store.PasswordCost.Time++
	t.Cleanup(func() { store.PasswordCost = storetest.Cheap })
	must[string](t)(w.login("sam0", storetest.Password("sam0"), ""))
	after := must[string](t)(w.World.Store.PasswordHash(w.ctx, id))
	if before == after || !strings.Contains(after, ",t=2,") {
		t.Errorf("got %s after %s", after, before)
	}
	must[string](t)(w.login("sam0", storetest.Password("sam0"), ""))
	if again := must[string](t)(w.World.Store.PasswordHash(w.ctx, id)); again != after {
		t.Error("renewed without need")
	}
}

func TestSecrets(t *testing.T) {
	rows := []struct{ secret, want string }{
		{"fourteen chars", "password_too_short"},
		{"seven green lorries", ""},
		{strings.Repeat("a", 20), "password_easily_guessed"},
		{"passwordpassword", "password_easily_guessed"},
		{"123456789012345678", "password_easily_guessed"},
		{"pat.quill pat.quill", "password_easily_guessed"},
		{"Pat Quill North Brakes", "password_easily_guessed"},
		{"brakewright2026!!", "password_easily_guessed"},
		{strings.Repeat("correct horse ", 19), "password_too_long"},
		{"tab\tseven green lorries", "password_bad_text"},
		{"sept camions verts à l'aube", ""},
		{"ｓｅｖｅｎ green lorries", ""}, // full width, NFKC
	}
	for _, r := range rows {
		if got := code(t, CheckPassword(r.secret, "pat.quill", "Pat Quill", "North Brakes")); got != r.want {
			t.Errorf("%q: got %q, want %q", r.secret, got, r.want)
		}
	}
	wants(t, CheckPassphrase("elevenchars"), "passphrase_too_short")
	wants(t, CheckPassphrase("three loud crows"), "")
}

// Ten wrong passphrases in a row end every session, and only a full log-in begins the count anew.
func TestPassphraseTries(t *testing.T) {
	w, p := ready(t)
	sam := w.sam(0)
	token := must[string](t)(w.login("sam0", storetest.Password("sam0"), ""))
	clear := func(passphrase string) error {
		_, err := w.Clear(w.ctx, sam, ClearanceRequest{Apprentice: p.ID, Task: "induction", Passphrase: passphrase})
		return err
	}
	for i := range passphraseTries - 1 {
		err := clear("wrong")
		wants(t, err, "passphrase_wrong")
		if r, _ := AsRefusal(err); i == 0 && r.Args["left"] != "9" {
			t.Errorf("got %v", r.Args)
		}
	}
	wants(t, clear("wrong"), "passphrase_locked")
	_, err := w.Session(w.ctx, token)
	wants(t, err, "session_over")
	wants(t, clear(pass(w.Supervisors[0])), "passphrase_locked")
	must[string](t)(w.login("sam0", storetest.Password("sam0"), ""))
	wants(t, clear(pass(w.Supervisors[0])), "")
}

func TestKeys(t *testing.T) {
	w := newWorld(t)
	pat := w.pat(0)
	request := func(p *store.Person, passphrase string) error { return w.RequestKey(w.ctx, p, passphrase) }
	wants(t, request(pat, "short"), "passphrase_too_short")
	wants(t, request(pat, storetest.Password("pat0")), "passphrase_is_password")
	confirm := func(actor *store.Person, passphrase string, persons ...string) error {
		return w.ConfirmKeys(w.ctx, actor, persons, passphrase)
	}
	ada := pass(w.Coordinators[0])
	wants(t, confirm(w.ada(), ada, pat.ID), "no_key_waiting")
	wants(t, confirm(w.ada(), ada), "nothing_chosen")
	wants(t, request(pat, "three loud crows"), "")
	wants(t, request(w.pat(1), "four silent herons"), "")
	if got := w.pat(0); !got.KeyWaiting || got.Key != nil {
		t.Errorf("got %+v", got)
	}
	if got := must[[]WaitingKey](t)(w.WaitingKeys(w.ctx, w.ada())); len(got) != 2 {
		t.Errorf("got %d waiting", len(got))
	}
	wants(t, confirm(w.sam(0), pass(w.Supervisors[0]), pat.ID), "not_allowed")
	wants(t, confirm(w.ada(), "wrong", pat.ID), "passphrase_wrong")
	wants(t, confirm(w.ada(), ada, pat.ID, w.pat(1).ID), "")
	p := w.pat(0)
	if p.Key == nil || p.KeyWaiting {
		t.Fatalf("got %+v", p)
	}
	if _, err := ledger.Unseal(p.Key.Sealed, p.ID, "three loud crows"); err != nil {
		t.Error(err)
	}

	// A change of key: the old one ends in the same breath.
	sam := w.sam(0)
	old := sam.Key.ID
	wants(t, request(sam, "five tall ladders"), "")
	wants(t, confirm(w.ada(), ada, sam.ID), "")
	if k := must[*store.Key](t)(w.World.Store.Key(w.ctx, old)); k.EndedAt.IsZero() || k.Why != "changed" {
		t.Errorf("the old key: %+v", k)
	}
	if k := w.sam(0).Key; k == nil || k.ID == old {
		t.Errorf("the new key: %+v", k)
	}

	// Nobody confirms their own while somebody else could.
	wants(t, request(w.ada(), "six rusty anchors"), "")
	wants(t, confirm(w.ada(), ada, w.ada().ID), "not_allowed")
	wants(t, confirm(w.cora(), pass(w.Coordinators[1]), w.ada().ID), "")
	wants(t, confirm(w.cora(), pass(w.Coordinators[1]), w.ada().ID), "no_key_waiting")
}

func TestAPassphraseIsNotThePassword(t *testing.T) {
	w := newWorld(t)
	token := must[string](t)(w.login("pat0", storetest.Password("pat0"), ""))
	wants(t, w.SetPassword(w.ctx, w.pat(0), token, storetest.Password("pat0"), "seven green lorries at dawn"), "")
	wants(t, w.RequestKey(w.ctx, w.pat(0), "seven green lorries at dawn"), "passphrase_is_password")
}

// At most so many at a time, first come, first served; who waits too long is told to come again.
func TestGate(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		g := newGate()
		var running, most atomic.Int32
		var order []int
		var mu sync.Mutex
		var wg sync.WaitGroup
		for i := range 40 {
			wg.Go(func() {
				err := g.do(context.Background(), func() error {
					now := running.Add(1)
					for m := most.Load(); now > m && !most.CompareAndSwap(m, now); m = most.Load() {
					}
					<-time.After(10 * time.Millisecond)
					running.Add(-1)
					mu.Lock()
					order = append(order, i)
					mu.Unlock()
					return nil
				})
				if err != nil {
					t.Error(err)
				}
			})
			synctest.Wait() // in this order into the queue
		}
		wg.Wait()
		if int(most.Load()) != g.size {
			t.Errorf("%d at a time, want %d", most.Load(), g.size)
		}
		for i := range order {
			if order[i]/g.size != i/g.size {
				t.Fatalf("not first come, first served: %v", order)
			}
		}

		block := make(chan struct{})
		for range g.size {
			go g.do(context.Background(), func() error { <-block; return nil })
		}
		synctest.Wait()
		err := g.do(context.Background(), func() error { t.Error("it ran"); return nil })
		r, ok := AsRefusal(err)
		if !ok || r.Code != "busy" || r.Status != 503 || r.RetryAfter != longestWait {
			t.Errorf("got %v", err)
		}
		ctx, cancel := context.WithCancel(context.Background())
		cancel()
		if err := g.do(ctx, func() error { return nil }); !errors.Is(err, context.Canceled) {
			t.Errorf("cancelled: got %v", err)
		}
		close(block)
		synctest.Wait()
	})
}
