package main

import (
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"brakewright/store/ledger"
)

func TestWitnesses(t *testing.T) {
	key, err := ledger.NewHeadKey("example.org/brakes", [32]byte{1})
	if err != nil {
		t.Fatal(err)
	}
	var heads []string
	for n := range int64(3) {
		note, err := key.SignHead(n+1, ledger.LeafHash([]byte{byte(n)}))
		if err != nil {
			t.Fatal(err)
		}
		heads = append(heads, note)
	}
	var posted []string
	status := http.StatusNoContent
	witness := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		b, _ := io.ReadAll(r.Body)
		posted = append(posted, string(b))
		w.WriteHeader(status)
	}))
	defer witness.Close()
	s := &serving{witnessFile: filepath.Join(t.TempDir(), "heads.txt"), witnessURL: witness.URL}
	all, err := s.witnesses(slog.New(slog.DiscardHandler))
	if err != nil || len(all) != 2 {
		t.Fatal(len(all), err)
	}
	for _, note := range heads {
		for _, tell := range all {
			if err := tell(note); err != nil {
				t.Error(err)
			}
		}
	}
	b, err := os.ReadFile(s.witnessFile)
	if err != nil {
		t.Fatal(err)
	}
	if h, err := ledger.HeadOf(b); err != nil || h.Note != heads[2] || len(ledger.SplitHeads(string(b))) != 3 {
		t.Errorf("%+v, %v of\n%s", h, err, b)
	}
	if len(posted) != 3 || posted[2] != heads[2] {
		t.Errorf("posted %q", posted)
	}
	status = http.StatusTeapot
	if err := all[1](heads[0]); err == nil {
		t.Error("a refusal passed for thanks")
	}
	witness.Close()
	if err := all[1](heads[0]); err == nil {
		t.Error("a witness that is not there was told")
	}
	if _, err := (&serving{witnessFile: t.TempDir()}).witnesses(slog.New(slog.DiscardHandler)); err == nil {
		t.Error("a folder is no file")
	}
}

// serve tells its witnesses the head that there is and the last one, and keeps it beside the key file.
func TestServeTellsItsWitness(t *testing.T) {
	dir := t.TempDir()
	db, key, heads := filepath.Join(dir, "shop.db"), filepath.Join(dir, "shop.key"), filepath.Join(dir, "heads.txt")
	status, _, said := runHere(t, `{"password":"`+testPassword+`","passphrase":"`+testPassphrase+`"}`, "init",
		"--database", db, "--key-file", key, "--origin", "example.org/witnessed", "--curriculum", "../../testdata/format", "--title", "Witnessed",
		"--zone", "America/Denver", "--person", "Ada Coordinator", "--login", "ada", "--secrets-file", "-")
	if status != 0 {
		t.Fatal(said)
	}
	p := start(t, "serve", "--database", db, "--key-file", key, "--listen", "127.0.0.1:0", "--witness-file", heads)
	c := &client{address: p.address}
	if status, answer, err := c.try(http.MethodGet, "/ledger/head", "", nil); err != nil || status != 200 || answer["origin"] != "example.org/witnessed" {
		t.Errorf("%d %v %v", status, answer, err)
	}
	if code := p.stop(t); code != 0 {
		t.Errorf("exit status %d\n%s", code, p.log)
	}
	for _, path := range []string{heads, key + ".head"} {
		status, out, said := runHere(t, "", "verify", "--database", db, "--key-file", key, "--head", path)
		if status != 0 || !strings.Contains(out, "heads given: 1") {
			t.Errorf("%s: %d %s%s", path, status, out, said)
		}
	}
}
