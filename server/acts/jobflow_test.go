package acts

import (
	"bytes"
	"encoding/base64"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"brakewright/readiness"
	"brakewright/store"
	"brakewright/store/ledger"
)

func (w *world) event(actor *store.Person, job, what string) error {
	_, err := w.Tap(w.ctx, actor, job, []store.Tap{{ID: w.tapID(), Event: what}})
	return err
}

func TestARequestIsAcceptedPassedOnAndPlanned(t *testing.T) {
	w, p := ready(t)
	ask := JobRequest{Apprentice: p.ID, Task: "pads", Vehicle: "wagon", Bay: "4"}
	late := ask
	late.Planned = w.Now().Add(-time.Hour)
	_, err := w.AskJob(w.ctx, p, late)
	wants(t, err, "planned_past")
	late.Planned = w.Now().Add(500 * 24 * time.Hour)
	_, err = w.AskJob(w.ctx, p, late)
	wants(t, err, "planned_far")
	ask.Planned = w.Now().Add(26 * time.Hour)
	j := must[*store.Job](t)(w.AskJob(w.ctx, p, ask))
	if !j.PlannedAt.Equal(ask.Planned.UTC().Truncate(time.Millisecond)) || j.Number < 1 {
		t.Errorf("got %+v", j)
	}
	wants(t, w.AcceptJob(w.ctx, w.cora(), j.ID), "not_allowed")
	wants(t, w.AcceptJob(w.ctx, w.sam(0), j.ID), "")
	wants(t, w.AcceptJob(w.ctx, w.sam(0), j.ID), "") // twice is once
	wants(t, w.PassJobOn(w.ctx, w.sam(0), j.ID, w.sam(1).ID, ""), "reason_needed")
	wants(t, w.PassJobOn(w.ctx, w.sam(0), j.ID, p.ID, "I am ill"), "cannot_watch")
	wants(t, w.PassJobOn(w.ctx, w.sam(0), j.ID, w.sam(1).ID, "I am ill"), "")
	got := must[*store.Job](t)(w.World.Store.Job(w.ctx, j.ID))
	if got.AskedOf != w.sam(1).ID || !got.AcceptedAt.IsZero() || got.Status != store.JobWaiting {
		t.Errorf("got %+v", got)
	}
	sh := must[*JobSheet](t)(w.Job(w.ctx, p, j.ID))
	if len(sh.Events) != 2 || sh.Events[1].Reason != "I am ill" || sh.Events[1].To != w.sam(1).ID {
		t.Errorf("got events %+v", sh.Events)
	}
	wants(t, w.TakeJob(w.ctx, w.sam(0), j.ID), "") // whoever is there may watch
	if sh = must[*JobSheet](t)(w.Job(w.ctx, p, j.ID)); !slices.Equal(sh.Supervisors, []string{w.sam(0).ID}) {
		t.Errorf("who passed a request on did not watch: got %v", sh.Supervisors)
	}
	wants(t, w.AcceptJob(w.ctx, w.sam(1), j.ID), "job_begun")
}

func TestOneApprenticeIsAtOneCar(t *testing.T) {
	w, p := ready(t)
	first := w.watch(w.sam(0), p, "pads", "wagon")
	_, err := w.AskJob(w.ctx, w.sam(1), JobRequest{Apprentice: p.ID, Task: "pads", Vehicle: "van", Watch: true})
	wants(t, err, "at_another_job")
	if x, _ := AsRefusal(err); x.Args["number"] != "2" || x.Args["task"] != "Replace front pads" || x.Args["job"] != first.ID {
		t.Errorf("the other job is not named: %v", x.Args)
	}
	second := must[*store.Job](t)(w.AskJob(w.ctx, p, JobRequest{Apprentice: p.ID, Task: "pads", Vehicle: "van"})) // asking is free
	wants(t, w.TakeJob(w.ctx, w.sam(1), second.ID), "at_another_job")
	wants(t, w.event(w.sam(0), first.ID, "paused"), "")
	wants(t, w.TakeJob(w.ctx, w.sam(1), second.ID), "")
	wants(t, w.event(w.sam(0), first.ID, "resumed"), "at_another_job")
	if sh := must[*JobSheet](t)(w.Job(w.ctx, p, first.ID)); !sh.Paused || len(sh.Taps) != 1 {
		t.Errorf("a refused resume left something behind: %+v", sh.Taps)
	}
	w.Clock.Add(time.Hour)
	wants(t, w.event(w.sam(1), second.ID, "paused"), "")
	wants(t, w.event(w.sam(0), first.ID, "resumed"), "")

	t.Run("many devices at once begin one", func(t *testing.T) {
		w, p := ready(t)
		var wg sync.WaitGroup
		var mu sync.Mutex
		begun := 0
		for range 8 {
			wg.Go(func() {
				_, err := w.AskJob(w.ctx, w.sam(0), JobRequest{Apprentice: p.ID, Task: "pads", Vehicle: "wagon", Watch: true})
				mu.Lock()
				defer mu.Unlock()
				if err == nil {
					begun++
				} else if x, ok := AsRefusal(err); !ok || x.Code != "at_another_job" {
					t.Error(err)
				}
			})
		}
		wg.Wait()
		if begun != 1 {
			t.Errorf("%d jobs run at once", begun)
		}
	})
}

func TestPauseResumeOverDays(t *testing.T) {
	w, p := ready(t)
	j := w.watch(w.sam(0), p, "pads", "wagon")
	start := w.Now().UnixMilli()
	w.Clock.Add(20 * time.Minute)
	before := w.Now().UnixMilli()
	w.Clock.Add(10 * time.Minute)
	wants(t, w.event(w.sam(0), j.ID, "paused"), "")
	paused := w.Now().UnixMilli()
	w.Clock.Add(20 * time.Hour)
	_, err := w.Tap(w.ctx, w.sam(0), j.ID, []store.Tap{w.result("pads/stands", unaided)})
	wants(t, err, "job_paused")
	// What a phone without signal had tapped before the pause still counts.
	old := w.result("pads/stands", unaided)
	old.At = before
	sh := must[*JobSheet](t)(w.Tap(w.ctx, w.sam(0), j.ID, []store.Tap{old}))
	if sh.step("pads/stands").Result != unaided || !sh.Paused {
		t.Error("a tap from before the pause was lost")
	}
	wants(t, w.event(w.sam(1), j.ID, "resumed"), "not_watching")
	wants(t, w.TakeJob(w.ctx, w.sam(1), j.ID), "") // another day, another supervisor
	wants(t, w.event(w.sam(1), j.ID, "resumed"), "")
	resumed := w.Now().UnixMilli()
	w.Clock.Add(30 * time.Minute)
	sh = must[*JobSheet](t)(w.Job(w.ctx, p, j.ID))
	taps := append(w.allTaps(sh), store.Tap{ID: w.tapID(), Outcome: finished})
	sh = must[*JobSheet](t)(w.Tap(w.ctx, w.sam(1), j.ID, taps))
	end := w.Now().UnixMilli()
	if want := []ledger.Span{{From: start, To: paused}, {From: resumed, To: end}}; !slices.Equal(sh.Active(end), want) {
		t.Errorf("active %v, want %v", sh.Active(end), want)
	}
	r := must[[]store.Receipt](t)(w.SignJobs(w.ctx, w.sam(1), nil, []string{j.ID}, pass(w.Supervisors[1]), nil))
	done := w.signedOff(r[0].ID)
	if want := []ledger.Span{{From: paused, To: resumed}}; !slices.Equal(done.Pauses, want) || len(done.Supervisors) != 2 || done.Number != j.Number {
		t.Errorf("got pauses %v, want %v; supervisors %v", done.Pauses, want, done.Supervisors)
	}
	wants(t, w.event(w.sam(1), j.ID, "paused"), "job_signed")
}

func (w *world) signedOff(entry string) ledger.SignOffPayload {
	w.t.Helper()
	e := must[*store.EntryView](w.t)(w.World.Store.Entry(w.ctx, entry))
	return must[ledger.SignOffPayload](w.t)(ledger.PayloadOf[ledger.SignOffPayload](e.Entry.Body))
}

func TestWhatElseIsTappedAtTheCar(t *testing.T) {
	w, p := ready(t)
	j := w.watch(w.sam(0), p, "pads", "wagon")
	yes := true
	tap := func(x store.Tap) (*JobSheet, error) {
		x.ID = w.tapID()
		return w.Tap(w.ctx, w.sam(0), j.ID, []store.Tap{x})
	}
	oral, err := w.OralQuestions(w.ctx, w.sam(0), j.ID, 1)
	if err != nil || len(oral) == 0 {
		t.Fatalf("%v, %v", oral, err)
	}
	_, err = w.OralQuestions(w.ctx, p, j.ID, 1)
	wants(t, err, "not_allowed") // the answers stand beside them
	rows := []struct {
		name string
		tap  store.Tap
		want string
	}{
		{"own error", store.Tap{Step: "pads/clean", OwnError: &yes, WhatHappened: "Clip left off, seen and put on"}, ""},
		{"own error at no step", store.Tap{OwnError: &yes}, "unknown_step"},
		{"who stepped in without an error", store.Tap{Step: "pads/stands", Result: "taken_over", SteppedIn: "other"}, "unknown_stepped_in"},
		{"who stepped in is known", store.Tap{Step: "pads/stands", Result: "taken_over", CriticalError: true, WhatHappened: "No stands", SteppedIn: "a ghost"}, "unknown_stepped_in"},
		{"somebody else stepped in", store.Tap{Step: "pads/stands", Result: "taken_over", CriticalError: true, WhatHappened: "No stands", SteppedIn: "other"}, ""},
		{"an oral question", store.Tap{Oral: &store.TapOral{Question: oral[0].ID, Number: 1, Satisfactory: true}}, ""},
		{"a question of another draw", store.Tap{Oral: &store.TapOral{Question: "none", Number: 1}}, "unknown_question"},
		{"no draw", store.Tap{Oral: &store.TapOral{Question: oral[0].ID, Number: 51}}, "bad_draw"},
		{"an event that is none", store.Tap{Event: "taken"}, "unknown_event"},
		{"a photograph without its bytes", store.Tap{Photo: &store.TapPhoto{Width: 1, Height: 1}}, "tap_mixed"},
		{"calibration of nothing", store.Tap{Step: "pads/rotor@LF", Reading: &store.TapReading{Measure: 1, Value: "27", Unit: "mm", Calibrated: "2025-11-03"}}, "instrument_needed"},
		{"calibration to come", store.Tap{Step: "pads/rotor@LF", Reading: &store.TapReading{Measure: 1, Value: "27", Unit: "mm", Instrument: "micrometer 7", Calibrated: "2031-01-01"}}, "future"},
	}
	for _, r := range rows {
		t.Run(r.name, func(t *testing.T) {
			_, err := tap(r.tap)
			wants(t, err, r.want)
		})
	}
	parts, fluid := "Pads, set 12", "DOT 4, new tin"
	must[*JobSheet](t)(tap(store.Tap{Parts: &parts, Fluid: &fluid}))
	must[*JobSheet](t)(tap(store.Tap{Step: "pads/rotor@LF", Reading: &store.TapReading{Measure: 1, Value: "27.1", Unit: "mm", Instrument: "micrometer 7", Calibrated: "2025-11-03"}}))
	sh := must[*JobSheet](t)(w.Job(w.ctx, p, j.ID))
	rest := slices.DeleteFunc(w.allTaps(sh), func(x store.Tap) bool { return x.Step == "pads/stands" || x.Reading != nil })
	must[*JobSheet](t)(w.Tap(w.ctx, w.sam(0), j.ID, append(rest, store.Tap{ID: w.tapID(), Outcome: finished})))
	statement := strings.Join(spoken(must[[]Fact](t)(w.Statement(w.ctx, w.sam(0), j.ID))), "\n")
	for _, want := range []string{"Somebody else stepped in.", "found an own error and put it right. Clip left off", oral[0].Stem, "Parts fitted: Pads, set 12", "Fluid: DOT 4", "calibrated 3 Nov 2025"} {
		if !strings.Contains(statement, want) {
			t.Errorf("the statement lacks %q:\n%s", want, statement)
		}
	}
	r := must[[]store.Receipt](t)(w.SignJobs(w.ctx, w.sam(0), nil, []string{j.ID}, pass(w.Supervisors[0]), nil))
	done := w.signedOff(r[0].ID)
	if len(done.Oral) != 1 || !done.Oral[0].Satisfactory || done.Oral[0].Text != oral[0].Stem || done.Parts != parts || done.Fluid != fluid || done.Readings[0].Calibrated != "2025-11-03" {
		t.Errorf("got %+v", done)
	}
	for _, s := range done.Steps {
		if s.Step == "pads/clean" && !s.OwnError || s.Step == "pads/stands" && s.SteppedIn != "other" {
			t.Errorf("got %+v", s)
		}
	}
	records, err := w.World.Store.Evidence(w.ctx, p.ID)
	if err != nil || len(records[len(records)-1].Oral) != 1 {
		t.Errorf("the oral answer is no evidence: %+v, %v", records[len(records)-1], err)
	}
}

func TestSeveralReadings(t *testing.T) {
	for _, r := range []struct {
		which, typed, value string
		values              int
		want                string
	}{
		{"lowest", "22.4 22,5;22.1", "22.1", 3, ""},
		{"highest", "22.4 22.5 22.1", "22.5", 3, ""},
		{"spread", "22.4 22.55 22.1", "0.45", 3, ""},
		{"each", "22.4 22.5", "22.4", 2, ""},
		{"one", "22.4", "22.4", 0, ""},
		{"one", "22.4 22.5", "", 0, "one_reading"},
		{"lowest", "22.4 thick", "", 0, "reading_unreadable"},
		{"lowest", " ", "", 0, "reading_unreadable"},
		{"lowest", strings.Repeat("1 ", 25), "", 0, "too_many_readings"},
		{"lowest", "22.4 22,500", "", 0, "reading_ambiguous"},
	} {
		st := &SheetStep{Measures: []SheetMeasure{{Number: 1, Which: r.which, Unit: "mm"}}}
		got, err := new(Service).checkReading(st, store.TapReading{Measure: 1, Value: r.typed, Unit: "mm"})
		wants(t, err, r.want)
		if err == nil && (got.Value != r.value || len(got.Values) != r.values) {
			t.Errorf("%s of %q: got %q of %v, want %q", r.which, r.typed, got.Value, got.Values, r.value)
		}
	}
}

// ---- photographs ----

func picture(w, h int) image.Image {
	m := image.NewRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			m.Set(x, y, color.RGBA{uint8(x), uint8(y), 90, 255})
		}
	}
	return m
}

func jpegOf(t testing.TB, m image.Image) []byte {
	var b bytes.Buffer
	if err := jpeg.Encode(&b, m, nil); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func pngOf(t testing.TB, m image.Image) []byte {
	var b bytes.Buffer
	if err := png.Encode(&b, m); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// withExif puts an EXIF block with an orientation and a secret into a JPEG.
func withExif(j []byte, orientation byte) []byte {
	tiff := append([]byte("II*\x00\x08\x00\x00\x00\x01\x00\x12\x01\x03\x00\x01\x00\x00\x00"), orientation, 0, 0, 0, 0, 0, 0, 0)
	tiff = append(tiff, "N 40.1 W 105.2 secret place"...)
	part := append([]byte("Exif\x00\x00"), tiff...)
	out := append([]byte{0xff, 0xd8, 0xff, 0xe1, byte((len(part) + 2) >> 8), byte(len(part) + 2)}, part...)
	return append(out, j[2:]...)
}

// tinyWebP is a lossless WebP of 1 × 1 pixel.
const tinyWebP = "UklGRhoAAABXRUJQVlA4TA0AAAAvAAAAEAcQERGIiP4HAA=="

func TestPictures(t *testing.T) {
	bomb := pngOf(t, picture(4, 4))
	copy(bomb[16:], []byte{0, 0, 0xff, 0xff, 0, 0, 0xff, 0xff}) // says 65535 × 65535
	webp, _ := base64.StdEncoding.DecodeString(tinyWebP)
	hidden := append([]byte("RIFF\x00\x00\x00\x00WEBPVP8X\x0a\x00\x00\x00\x00\x00\x00\x00\x03\x00\x00\x03\x00\x00VP8L\x05\x00\x00\x00\x2f\xff\xff\xff\x0f"), 0)
	small := jpegOf(t, picture(40, 20))
	polyglot := append(bytes.Clone(small), []byte("<script>alert(1)</script>PK\x03\x04")...)
	for _, r := range []struct {
		name string
		b    []byte
		w, h int
		want string
	}{
		{"jpeg", small, 40, 20, ""},
		{"png", pngOf(t, picture(30, 60)), 30, 60, ""},
		{"webp", webp, 1, 1, ""},
		{"large", jpegOf(t, picture(3200, 1200)), 1600, 600, ""},
		{"turned", withExif(small, 6), 20, 40, ""},
		{"mirrored", withExif(small, 2), 40, 20, ""},
		{"polyglot", polyglot, 40, 20, ""},
		{"svg", []byte(`<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>`), 0, 0, "photo_kind"},
		{"gif", []byte("GIF89a\x01\x00\x01\x00\x80\x00\x00"), 0, 0, "photo_kind"},
		{"heic", []byte("\x00\x00\x00\x18ftypheic\x00\x00\x00\x00"), 0, 0, "photo_kind"},
		{"html", []byte("<html>"), 0, 0, "photo_kind"},
		{"nothing", nil, 0, 0, "photo_kind"},
		{"cut off", small[:len(small)/2], 0, 0, "photo_unreadable"},
		{"header alone", []byte("\xff\xd8\xff\xe0"), 0, 0, "photo_unreadable"},
		{"bomb", bomb, 0, 0, "photo_unreadable"}, // its checksum is wrong, too
		{"hidden frame", hidden, 0, 0, "photo_pixels"},
		{"too many bytes", append(bytes.Clone(small), make([]byte, maxPicture)...), 0, 0, "photo_too_large"},
	} {
		t.Run(r.name, func(t *testing.T) {
			k, err := keepPicture(t.Context(), r.b)
			wants(t, err, r.want)
			if err != nil {
				return
			}
			if k.width != r.w || k.height != r.h {
				t.Errorf("got %d × %d, want %d × %d", k.width, k.height, r.w, r.h)
			}
			m, kind, err := image.Decode(bytes.NewReader(k.jpeg))
			if err != nil || kind != "jpeg" || m.Bounds().Dx() != r.w || len(k.jpeg) > maxKept {
				t.Errorf("kept %s of %d bytes, %v", kind, len(k.jpeg), err)
			}
			for _, bad := range []string{"Exif", "secret", "script", "PK\x03\x04"} {
				if bytes.Contains(k.jpeg, []byte(bad)) {
					t.Errorf("what is kept holds %q", bad)
				}
			}
		})
	}
	t.Run("too many pixels", func(t *testing.T) {
		_, err := keepPicture(t.Context(), pngOf(t, image.NewPaletted(image.Rect(0, 0, 6000, 5000), color.Palette{color.Black})))
		wants(t, err, "photo_pixels")
	})
}

func FuzzPicture(f *testing.F) {
	webp, _ := base64.StdEncoding.DecodeString(tinyWebP)
	small := jpegOf(f, picture(9, 5))
	for _, b := range [][]byte{small, withExif(small, 6), pngOf(f, picture(5, 5)), webp, []byte("<svg/>"), []byte("RIFF\x00\x00\x00\x00WEBPVP8X")} {
		f.Add(b)
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		k, err := keepPicture(t.Context(), b)
		if err != nil {
			if _, ok := AsRefusal(err); !ok {
				t.Fatal(err)
			}
			return
		}
		if m, err := jpeg.Decode(bytes.NewReader(k.jpeg)); err != nil || max(m.Bounds().Dx(), m.Bounds().Dy()) > maxSide {
			t.Fatalf("kept what cannot be shown: %v", err)
		}
	})
}

func TestPhotographsStandInTheRecord(t *testing.T) {
	w, p := ready(t)
	j := w.watch(w.sam(0), p, "pads", "wagon")
	_, err := w.AddPhoto(w.ctx, w.sam(1), j.ID, "", "", jpegOf(t, picture(8, 6)))
	wants(t, err, "not_watching")
	_, err = w.AddPhoto(w.ctx, w.sam(0), j.ID, "", "pads/none", jpegOf(t, picture(8, 6)))
	wants(t, err, "unknown_step")
	_, err = w.AddPhoto(w.ctx, w.sam(0), j.ID, "", "", nil)
	wants(t, err, "photo_needed")
	id := w.ID()
	for range 2 { // sent twice is one
		sh := must[*JobSheet](t)(w.AddPhoto(w.ctx, w.sam(0), j.ID, id, "pads/stands", withExif(jpegOf(t, picture(8, 6)), 1)))
		if len(sh.Photos) != 1 || sh.Photos[0].Photo.Width != 8 {
			t.Fatalf("got %+v", sh.Photos)
		}
	}
	second := w.ID()
	must[*JobSheet](t)(w.AddPhoto(w.ctx, w.sam(0), j.ID, second, "", pngOf(t, picture(5, 5))))
	must[*JobSheet](t)(w.Tap(w.ctx, w.sam(0), j.ID, []store.Tap{{ID: w.tapID(), Undo: second}}))
	draft := must[[]byte](t)(w.Photo(w.ctx, p, j.ID, id))
	_, err = w.Photo(w.ctx, w.pat(1), j.ID, id)
	wants(t, err, "not_allowed")
	sh := must[*JobSheet](t)(w.Job(w.ctx, p, j.ID))
	must[*JobSheet](t)(w.Tap(w.ctx, w.sam(0), j.ID, append(w.allTaps(sh), store.Tap{ID: w.tapID(), Outcome: finished})))
	r := must[[]store.Receipt](t)(w.SignJobs(w.ctx, w.sam(0), nil, []string{j.ID}, pass(w.Supervisors[0]), nil))
	done := w.signedOff(r[0].ID)
	if len(done.Photos) != 1 || done.Photos[0].Step != "pads/stands" || done.Personal["photo/1"] == "" {
		t.Fatalf("got %+v", done.Photos)
	}
	for _, name := range []string{"1", "photo/1", id} {
		if b := must[[]byte](t)(w.Photo(w.ctx, p, j.ID, name)); !bytes.Equal(b, draft) {
			t.Errorf("%s: the signed photograph is another", name)
		}
	}
	e := must[*store.EntryView](t)(w.World.Store.Entry(w.ctx, r[0].ID))
	if _, opened := e.Personal["photo/1"]; opened {
		t.Error("a list of entries carries photographs")
	}
	if _, err := w.World.Store.Photo(w.ctx, j.ID, id); err == nil {
		t.Error("the draft of a signed photograph stays behind")
	}
	// A correction, and its correction, name the photograph; its bytes stay where they are.
	last := r[0].ID
	for _, difficulty := range []string{"awkward", "routine"} {
		last = must[store.Receipt](t)(w.Correct(w.ctx, w.sam(0), Correction{Entry: last, Reason: "It was otherwise", Changes: RecordChanges{Difficulty: &difficulty}, Passphrase: pass(w.Supervisors[0])})).ID
		c := must[*store.EntryView](t)(w.World.Store.Entry(w.ctx, last))
		if rec := Recorded(c); len(rec.Photos) != 1 || rec.Photos[0].Entry != r[0].ID || rec.Photos[0].Field != "photo/1" {
			t.Errorf("the correction has %+v", rec.Photos)
		}
	}
	if b := must[[]byte](t)(w.Photo(w.ctx, p, j.ID, "1")); !bytes.Equal(b, draft) {
		t.Error("after a correction the photograph is another")
	}
}

func TestPaperDays(t *testing.T) {
	w, p := ready(t)
	w.Clock.Add(5 * time.Hour)
	now := w.Now()
	ask := func() *store.Job {
		return must[*store.Job](t)(w.AskJob(w.ctx, p, JobRequest{Apprentice: p.ID, Task: "pads", Vehicle: "wagon"}))
	}
	j := ask()
	found := must[*store.Job](t)(w.JobByNumber(w.ctx, w.sam(0), " "+strconv.Itoa(j.Number)))
	if found.ID != j.ID {
		t.Error("the number finds another job")
	}
	_, err := w.JobByNumber(w.ctx, w.pat(1), strconv.Itoa(j.Number))
	wants(t, err, "not_found")
	_, err = w.JobByNumber(w.ctx, w.sam(0), "two")
	wants(t, err, "bad_job_number")
	from, to := now.Add(-3*time.Hour), now.Add(-2*time.Hour)
	wants(t, w.FromPaper(w.ctx, p, j.ID, from, to), "not_allowed")
	wants(t, w.FromPaper(w.ctx, w.sam(0), j.ID, to, from), "paper_order")
	wants(t, w.FromPaper(w.ctx, w.sam(0), j.ID, to.AddDate(-1, 0, 0), to), "paper_long")
	wants(t, w.FromPaper(w.ctx, w.sam(0), j.ID, time.UnixMilli(-1<<53-1), to), "paper_long")
	wants(t, w.FromPaper(w.ctx, w.sam(0), j.ID, from, now.Add(time.Hour)), "paper_future")
	wants(t, w.FromPaper(w.ctx, w.sam(0), j.ID, from, to), "")
	wants(t, w.event(w.sam(0), j.ID, "paused"), "paper_no_pause")
	live := w.watch(w.sam(1), p, "pads", "van") // a sheet being entered holds nobody at the car
	other := ask()
	wants(t, w.FromPaper(w.ctx, w.sam(0), other.ID, from.Add(10*time.Minute), to), "paper_overlaps")
	wants(t, w.FromPaper(w.ctx, w.sam(0), live.ID, from, to), "not_watching")
	sh := must[*JobSheet](t)(w.Job(w.ctx, p, j.ID))
	sh = must[*JobSheet](t)(w.Tap(w.ctx, w.sam(0), j.ID, append(w.allTaps(sh), store.Tap{ID: w.tapID(), Outcome: finished})))
	sign := func(late *LateSigning) ([]store.Receipt, error) {
		return w.Sign(w.ctx, w.sam(0), SignRequest{Jobs: []string{j.ID}, Passphrase: pass(w.Supervisors[0]), Late: late})
	}
	late := &LateSigning{Reason: "No signal in the yard", SecondLogin: w.sam(1).Login, SecondPassphrase: pass(w.Supervisors[1])}
	_, err = sign(late)
	wants(t, err, "paper_photo_needed")
	must[*JobSheet](t)(w.AddPhoto(w.ctx, w.sam(0), j.ID, "", "", jpegOf(t, picture(8, 6))))
	_, err = sign(nil)
	wants(t, err, "paper_second_needed")
	r, err := sign(late)
	wants(t, err, "")
	done := w.signedOff(r[0].ID)
	if !done.Paper || done.Started != from.UnixMilli() || done.Finished != to.UnixMilli() || len(done.Photos) != 1 || sh.Outcome != finished {
		t.Errorf("got %+v", done)
	}
	if e := must[*store.EntryView](t)(w.World.Store.Entry(w.ctx, r[0].ID)); len(e.Entry.Signatures) != 2 || e.Personal["reason"] == "" {
		t.Error("the second signature or the reason is missing")
	}
}

// ---- spot checks and cars that came back ----

func TestSpotChecks(t *testing.T) {
	w, p := ready(t)
	w.clearedFor(p)
	good := SpotCheckRequest{Apprentice: p.ID, Task: "induction", Finding: "sound", Passphrase: pass(w.Supervisors[0]), WorkOrder: "KLM 123"}
	with := func(change func(*SpotCheckRequest)) SpotCheckRequest {
		r := good
		change(&r)
		return r
	}
	check := func(r SpotCheckRequest) error {
		_, err := w.SpotCheck(w.ctx, w.sam(0), r)
		return err
	}
	wants(t, check(good), "")
	wants(t, check(with(func(r *SpotCheckRequest) { r.Finding = "fine" })), "unknown_finding")
	wants(t, check(with(func(r *SpotCheckRequest) { r.Finding = "flaw" })), "finding_needs_words")
	wants(t, check(with(func(r *SpotCheckRequest) { r.Passphrase = "no such passphrase" })), "passphrase_wrong")
	pads := w.goodJob(0, p, "pads", "wagon").SignOff
	wants(t, check(with(func(r *SpotCheckRequest) { r.Of = pads })), "rule_other_task")
	wants(t, check(with(func(r *SpotCheckRequest) { r.Of = w.ID() })), "not_found")
	wants(t, check(with(func(r *SpotCheckRequest) { r.Of = w.signedJob(p) })), "")
	_, err := w.SpotCheck(w.ctx, p, good)
	wants(t, err, "not_allowed")
	unsafe := with(func(r *SpotCheckRequest) { r.Finding, r.Notes = "unsafe", "A bolt was finger-tight" })
	wants(t, check(unsafe), "decision_needed")
	unsafe.Decision = &CriticalDecision{Reason: "One bolt, shown again at once"}
	wants(t, check(unsafe), "")
	if v := w.standing(p, "induction"); v.Standing != readiness.Cleared || slices.ContainsFunc(v.Notes.Warnings, func(r readiness.Reason) bool { return r.Code == "critical_error_after_clearance" }) {
		t.Errorf("kept: %s, %v", v.Standing, v.Notes.Warnings)
	}
	unsafe.Decision = &CriticalDecision{StandDown: true, Reason: "Until it is understood"}
	wants(t, check(unsafe), "")
	wants(t, check(unsafe), "") // no longer cleared: nothing to decide
	if v := w.standing(p, "induction").Standing; v != "stood_down" {
		t.Errorf("got standing %s", v)
	}
}

func TestCarsThatCameBack(t *testing.T) {
	w, p := ready(t)
	w.clearedFor(p)
	j := w.watch(w.sam(0), p, "pads", "wagon")
	sh := must[*JobSheet](t)(w.Job(w.ctx, p, j.ID))
	must[*JobSheet](t)(w.Tap(w.ctx, w.sam(0), j.ID, append(w.allTaps(sh), store.Tap{ID: w.tapID(), Outcome: finished})))
	job := must[[]store.Receipt](t)(w.SignJobs(w.ctx, w.sam(0), nil, []string{j.ID}, pass(w.Supervisors[0]), nil))[0].ID
	alone := must[store.Receipt](t)(w.UnwatchedJob(w.ctx, p, UnwatchedRequest{Task: "induction", WorkOrder: "klm-123", Fluid: "DOT 4"})).ID

	for what, want := range map[string]string{"KLM 123": alone, strconv.Itoa(j.Number): job, "#" + strconv.Itoa(j.Number): job} {
		found := must[[]*store.EntryView](t)(w.FindWork(w.ctx, w.ada(), what))
		if len(found) != 1 || found[0].Entry.Body.ID != want {
			t.Errorf("%q finds %d entries", what, len(found))
		}
	}
	if found := must[[]*store.EntryView](t)(w.FindWork(w.ctx, w.ada(), "XYZ 999")); len(found) != 0 {
		t.Errorf("an unknown plate finds %d", len(found))
	}
	_, err := w.FindWork(w.ctx, p, "KLM 123")
	wants(t, err, "not_allowed")
	_, err = w.FindWork(w.ctx, w.ada(), " ")
	wants(t, err, "search_needed")

	open := func(actor *store.Person, r CaseRequest) (store.Receipt, error) { return w.OpenCase(w.ctx, actor, r) }
	_, err = open(w.ada(), CaseRequest{Jobs: []string{alone}})
	wants(t, err, "reason_needed")
	_, err = open(w.ada(), CaseRequest{Complaint: "Soft pedal"})
	wants(t, err, "whose_work")
	_, err = open(w.ada(), CaseRequest{Jobs: []string{alone}, Task: "pads", Complaint: "Soft pedal"})
	wants(t, err, "rule_other_task")
	_, err = open(p, CaseRequest{Jobs: []string{alone}, Complaint: "Soft pedal"})
	wants(t, err, "not_allowed")
	c := must[store.Receipt](t)(open(w.ada(), CaseRequest{Jobs: []string{alone, job}, Complaint: "Soft pedal"}))
	standing := func(person string) []string { return must[[]string](t)(w.World.Store.OpenCasesOf(w.ctx, person)) }
	for _, person := range []string{p.ID, w.sam(0).ID, w.ada().ID} {
		if got := standing(person); !slices.Equal(got, []string{c.ID}) {
			t.Errorf("%s stands in %v", person, got)
		}
	}
	if got := standing(w.pat(1).ID); len(got) != 0 {
		t.Errorf("somebody else stands in %v", got)
	}
	v := must[*CaseView](t)(w.Case(w.ctx, w.sam(1), c.ID))
	if len(v.Jobs) != 2 || !v.MayClose || !v.MayStand || !v.Decide || v.Case.Task != "induction" || v.Opened.Personal["work_order"] != "klm-123" {
		t.Errorf("got %+v", v)
	}
	_, err = w.Case(w.ctx, w.pat(1), c.ID)
	wants(t, err, "not_allowed")
	if all := must[[]CaseView](t)(w.Cases(w.ctx, w.ada(), true)); len(all) != 1 {
		t.Errorf("%d open cases", len(all))
	}

	end := FindingRequest{Case: c.ID, Finding: "our_work", What: "A bleeder was loose", Passphrase: pass(w.Supervisors[1])}
	closing := func(r FindingRequest) error {
		_, err := w.CloseCase(w.ctx, w.sam(1), r)
		return err
	}
	wants(t, closing(FindingRequest{Case: "none"}), "not_found")
	wants(t, closing(FindingRequest{Case: c.ID, Finding: "guess"}), "unknown_finding")
	wants(t, closing(FindingRequest{Case: c.ID, Finding: "part"}), "reason_needed")
	wants(t, closing(end), "decision_needed")
	end.Decision = &CriticalDecision{StandDown: true, Reason: "Until shown again"}
	wants(t, closing(end), "")
	wants(t, closing(end), "case_closed")
	if got := standing(p.ID); len(got) != 0 {
		t.Errorf("a closed case holds %v", got)
	}
	if s := w.standing(p, "induction").Standing; s != "stood_down" {
		t.Errorf("got standing %s", s)
	}
}

// clearedFor clears somebody for the induction.
func (w *world) clearedFor(p *store.Person) {
	w.t.Helper()
	must[store.Receipt](w.t)(w.Clear(w.ctx, w.sam(0), ClearanceRequest{Apprentice: p.ID, Task: "induction", Reason: "Seen", Passphrase: pass(w.Supervisors[0])}))
}
