package main

import (
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
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
