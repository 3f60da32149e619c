package acts

import (
	"archive/zip"
	"bytes"
	"io/fs"
	"maps"
	"slices"
	"strings"
	"testing"

	"brakewright/store"
)

// packed is a zip archive of these files, in the order given.
func packed(t testing.TB, change func(*zip.FileHeader), files ...string) []byte {
	t.Helper()
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for i := 0; i+1 < len(files); i += 2 {
		h := &zip.FileHeader{Name: files[i], Method: zip.Deflate}
		if change != nil {
			change(h)
		}
		w, err := z.CreateHeader(h)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := w.Write([]byte(files[i+1])); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func TestUnpackProgramme(t *testing.T) {
	link := func(h *zip.FileHeader) { h.SetMode(fs.ModeSymlink | 0o777) }
	big := strings.Repeat("a", 17<<20)
	many := []string{"programme.yaml", "x"}
	for i := range maxZipEntries {
		many = append(many, "n/"+strings.Repeat("x", i%50)+string(rune('a'+i%26))+strings.Repeat("y", i/50)+".txt", "")
	}
	lies := packed(t, nil, "programme.yaml", big)
	// The sizes in the archive's directory say less than there is.
	at := bytes.LastIndex(lies, []byte("PK\x01\x02"))
	copy(lies[at+24:], []byte{1, 0, 0, 0})
	for _, r := range []struct {
		name    string
		archive []byte
		want    string // code of a refusal
		files   []string
	}{
		{"a folder", packed(t, nil, "programme.yaml", "x", "lessons/a.md", "y", "notes.txt", "z", "lessons/", ""), "", []string{"lessons/a.md", "programme.yaml"}},
		{"in a folder", packed(t, nil, "mine/programme.yaml", "x", "mine/lessons/a.md", "y", "other/b.md", "z"), "", []string{"lessons/a.md", "programme.yaml"}},
		{"nothing", nil, "zip_unreadable", nil},
		{"no archive", []byte("PK not at all"), "zip_unreadable", nil},
		{"no programme", packed(t, nil, "lessons/a.md", "y"), "zip_no_programme", nil},
		{"too deep", packed(t, nil, "a/b/programme.yaml", "y"), "zip_no_programme", nil},
		{"a way out", packed(t, nil, "programme.yaml", "x", "../a.md", "y"), "zip_path", nil},
		{"a way out inside", packed(t, nil, "programme.yaml", "x", "lessons/../../a.md", "y"), "zip_path", nil},
		{"from the root", packed(t, nil, "/programme.yaml", "x"), "zip_path", nil},
		{"backslashes", packed(t, nil, "programme.yaml", "x", `lessons\..\a.md`, "y"), "zip_path", nil},
		{"a drive", packed(t, nil, "programme.yaml", "x", "C:a.md", "y"), "zip_path", nil},
		{"a link", packed(t, link, "programme.yaml", "/etc/hosts"), "zip_path", nil},
		{"alike but for capitals", packed(t, nil, "programme.yaml", "x", "lessons/a.md", "y", "Lessons/A.md", "z"), "zip_twice", nil},
		{"a folder and a file alike", packed(t, nil, "programme.yaml", "x", "lessons/", "", "lessons/a.md", "y", "LESSONS/", ""), "", []string{"lessons/a.md", "programme.yaml"}},
		{"a drive's root", packed(t, nil, "programme.yaml", "x", `C:\a.md`, "y"), "zip_path", nil},
		{"a share", packed(t, nil, "programme.yaml", "x", `\\host\a.md`, "y"), "zip_path", nil},
		{"a NUL in a name", packed(t, nil, "programme.yaml", "x", "lessons/a\x00.md", "y"), "zip_path", nil},
		{"nothing of a name", packed(t, nil, "programme.yaml", "x", "lessons//a.md", "y"), "zip_path", nil},
		{"the folder itself", packed(t, nil, "programme.yaml", "x", "./a.md", "y"), "zip_path", nil},
		{"no UTF-8 in a name", packed(t, nil, "programme.yaml", "x", "lessons/\xff.md", "y"), "zip_path", nil},
		{"a link among others", packed(t, func(h *zip.FileHeader) {
			if h.Name == "lessons/a.md" {
				link(h)
			}
		}, "programme.yaml", "x", "lessons/a.md", "../../secret.md"), "zip_path", nil},
		{"a pipe", packed(t, func(h *zip.FileHeader) { h.SetMode(fs.ModeNamedPipe | 0o600) }, "programme.yaml", "x"), "zip_path", nil},
		{"twice", packed(t, nil, "programme.yaml", "x", "programme.yaml", "y"), "zip_twice", nil},
		{"a bomb", packed(t, nil, "programme.yaml", "x", "lessons/a.md", big, "lessons/b.md", big), "zip_too_large", nil},
		{"too many", packed(t, nil, many...), "zip_too_large", nil},
		{"sizes that lie", lies, "zip_unreadable", nil},
	} {
		t.Run(r.name, func(t *testing.T) {
			files, err := UnpackProgramme(r.archive)
			if got := code(t, err); got != r.want {
				t.Fatalf("got %q, want %q", got, r.want)
			}
			if got := slices.Sorted(maps.Keys(files)); !slices.Equal(got, r.files) {
				t.Errorf("got %v", got)
			}
		})
	}
}

// FuzzUnpackProgramme: any bytes are refused or unpack to paths that stay in the folder, within the bound.
func FuzzUnpackProgramme(f *testing.F) {
	f.Add(packed(f, nil, "programme.yaml", "x", "lessons/a.md", "y"))
	f.Add(packed(f, nil, "a/programme.yaml", "x", "../b.md", "y"))
	f.Add([]byte("PK\x05\x06"))
	f.Fuzz(func(t *testing.T, b []byte) {
		files, err := UnpackProgramme(b)
		if err != nil {
			code(t, err)
			return
		}
		total := 0
		for name, b := range files {
			if total += len(b); !fs.ValidPath(name) {
				t.Fatalf("path %q", name)
			}
		}
		if total > maxUnpacked {
			t.Fatalf("%d bytes", total)
		}
	})
}

func TestDrafts(t *testing.T) {
	w := newWorld(t)
	ada, passphrase := w.ada(), pass(w.Coordinators[0])
	text, drafted, err := w.DraftText(w.ctx, ada, "lessons/pads.md")
	if err != nil || drafted || text != small["lessons/pads.md"] {
		t.Fatalf("got %v %v %q", err, drafted, text)
	}
	_, _, err = w.Draft(w.ctx, ada, ada.ID)
	wants(t, err, "not_found")

	// Broken at first: kept, shown, not adopted.
	wants(t, w.WriteDraft(w.ctx, ada, "lessons/pads.md", strings.Replace(text, "{#stands", "{stands", 1)), "")
	_, o, err := w.Draft(w.ctx, ada, ada.ID)
	if err != nil || o.Programme != nil || len(o.Problems) == 0 {
		t.Fatalf("got %v %+v", err, o)
	}
	_, err = w.AdoptDraft(w.ctx, ada, ada.ID, "", passphrase)
	wants(t, err, "offer_broken")

	// Mended, as a browser sends it.
	better := strings.Replace(text, "A jack can sink.", "A jack can sink on soft ground.", 1)
	wants(t, w.WriteDraft(w.ctx, ada, "lessons/pads.md", strings.ReplaceAll(better, "\n", "\r\n")), "")
	d, o, err := w.Draft(w.ctx, ada, ada.ID)
	if err != nil || o.Programme == nil || len(o.Changes) != 1 || o.Changes[0].Code != "reason_changed" || d.Stale {
		t.Fatalf("got %v %+v", err, o)
	}
	if got, drafted, err := w.DraftText(w.ctx, ada, "lessons/pads.md"); err != nil || !drafted || got != better {
		t.Errorf("got %v %v %q", err, drafted, got)
	}
	if all := must[[]store.ProgrammeDraft](t)(w.Drafts(w.ctx, w.cora())); len(all) != 1 || all[0].Person != ada.ID {
		t.Errorf("got %v", all)
	}
	_, err = w.AdoptDraft(w.ctx, ada, ada.ID, strings.Repeat("0", 64), passphrase)
	wants(t, err, "offer_changed")
	_, err = w.AdoptDraft(w.ctx, ada, ada.ID, o.Programme.Edition, "wrong")
	wants(t, err, "passphrase_wrong")
	_, err = w.AdoptDraft(w.ctx, ada, ada.ID, o.Programme.Edition, passphrase)
	wants(t, err, "")
	if got := must[store.Info](t)(w.World.Store.Info(w.ctx)).Programme; got != o.Programme.Edition {
		t.Errorf("in use: %s", got)
	}
	_, _, err = w.Draft(w.ctx, ada, ada.ID)
	wants(t, err, "not_found")

	// A folder from an archive; a draft begun before another edition was adopted says so.
	var files []string
	for name, text := range small {
		files = append(files, "mine/"+name, text)
	}
	wants(t, w.UploadDraft(w.ctx, ada, packed(t, nil, files...)), "")
	if d, o, err := w.Draft(w.ctx, ada, ada.ID); err != nil || len(o.Changes) != 1 || d.Stale {
		t.Errorf("got %v %+v", err, o)
	}
	wants(t, w.UploadDraft(w.ctx, ada, []byte("no")), "zip_unreadable")
	wants(t, w.DropDraft(w.ctx, ada, ada.ID), "")

	for _, file := range []string{"", "x", "lessons/a.txt", "../lessons/a.md", "lessons/../a.md", "/lessons/a.md", "pictures/a.md", "lessons/es/deep/a.md", `lessons\a.md`} {
		wants(t, w.WriteDraft(w.ctx, ada, file, "x"), "file_not_writable")
	}
	wants(t, w.WriteDraft(w.ctx, ada, "lessons/a.md", strings.Repeat("x", maxDraftText+1)), "text_too_long")
	wants(t, w.WriteDraft(w.ctx, w.sam(0), "lessons/pads.md", "x"), "not_allowed")
	wants(t, w.UploadDraft(w.ctx, w.pat(0), nil), "not_allowed")
	_, _, err = w.DraftText(w.ctx, w.sam(0), "lessons/pads.md")
	wants(t, err, "not_allowed")
	_, _, err = w.DraftText(w.ctx, ada, "lessons/none.md")
	wants(t, err, "not_found")
}
