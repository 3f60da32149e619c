package ledger

import (
	"bytes"
	"encoding/hex"
	"encoding/json"
	"errors"
	"flag"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
)

var update = flag.Bool("update", false, "write golden files anew")

func golden(t *testing.T, name string, got []byte) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		if err := os.MkdirAll("testdata", 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, got, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got, want) {
		t.Errorf("%s differs; got:\n%s", path, got)
	}
}

// RFC 8785, section 3.2.2 (strings) and 3.2.3 (order of keys). Its numbers are not here: hashed JSON has integers only.
func TestCanonicalJSONVectors(t *testing.T) {
	for _, c := range []struct{ name, in, want string }{
		{"escapes", `{"string":"\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/"}`, `{"string":"€$\u000f\nA'B\"\\\\\"/"}`},
		{"literals", `{"literals" : [ true , false ] , "a" : {} }`, `{"a":{},"literals":[true,false]}`},
		{"order of keys",
			`{"\u20ac":"Euro Sign","\r":"Carriage Return","\ufb33":"Hebrew Letter Dalet With Dagesh","1":"One","\ud83d\ude00":"Emoji: Grinning Face","\u0080":"Control","\u00f6":"Latin Small Letter O With Diaeresis"}`,
			`{"\r":"Carriage Return","1":"One","` + "\u0080" + `":"Control","ö":"Latin Small Letter O With Diaeresis","€":"Euro Sign","😀":"Emoji: Grinning Face","` + "\ufb33" + `":"Hebrew Letter Dalet With Dagesh"}`},
		{"no escape of < > &", `"<a>&\u2028"`, `"<a>&` + "\u2028" + `"`},
		{"integers", `[0,-1,9007199254740991,-9007199254740991]`, `[0,-1,9007199254740991,-9007199254740991]`},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, err := canonical(json.RawMessage(c.in))
			if err != nil {
				t.Fatal(err)
			}
			if string(got) != c.want {
				t.Errorf("got  %s\nwant %s", got, c.want)
			}
		})
	}
	for _, in := range []string{`1.5`, `1e3`, `9007199254740992`, `-9007199254740992`, `[1,{"a":0.0}]`, `123456789012345678901234567890`} {
		if got, err := canonical(json.RawMessage(in)); err == nil {
			t.Errorf("%s was let through as %s", in, got)
		}
	}
}

// RFC 8032, section 7.1, tests 1, 2 and 3.
func TestEd25519Vectors(t *testing.T) {
	for _, c := range []struct{ name, public, message, signature string }{
		{"TEST 1", "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a", "",
			"e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b"},
		{"TEST 2", "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c", "72",
			"92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00"},
		{"TEST 3", "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025", "af82",
			"6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760984dc6594a7c15e9716ed28dc027beceea1ec40a"},
	} {
		t.Run(c.name, func(t *testing.T) {
			raw := func(s string) []byte {
				b, err := hex.DecodeString(s)
				if err != nil {
					t.Fatal(err)
				}
				return b
			}
			check := SignatureCheck{Alg: AlgEd25519, Public: raw(c.public), Message: raw(c.message), Bytes: raw(c.signature)}
			if !check.OK() {
				t.Error("the signature is refused")
			}
			check.Bytes[10] ^= 1
			if check.OK() {
				t.Error("a changed signature is accepted")
			}
		})
	}
}

// worked is the worked example of the format: a sign-off as it stands in a ledger.
func worked(t testing.TB) []byte {
	h := found(t)
	h.do(h.signOff("sam", "pat", func(a *act, p *SignOffPayload) {
		a.personal = []string{"work_order", "what_happened/bleed/s1"}
		p.Steps[0].Result, p.Steps[0].CriticalError = "taken_over", true
		p.Readings = []ReadingDone{{Step: "bleed/s1", Measure: 1, Value: "22,5", Unit: "mm", Limit: "at least 20 mm", Verdict: "within"}}
		p.Holds = []HoldDone{{Step: "bleed/s1", Accepted: true, By: h.id("sam"), At: h.now - 500}}
	}))
	return h.leaves[len(h.leaves)-1]
}

func TestWorkedExample(t *testing.T) {
	golden(t, "sign_off.json", worked(t))
}

func TestTableOfTypes(t *testing.T) {
	golden(t, "types.md", []byte(TableMarkdown()))
}

// Every declared type has its row, a payload that can be made and checked, and a place for personal fields.
func TestEveryTypeHasARow(t *testing.T) {
	source, err := os.ReadFile("types.go")
	if err != nil {
		t.Fatal(err)
	}
	declared := 0
	for _, line := range strings.Split(string(source), "\n") {
		fields := strings.Fields(line)
		if len(fields) < 3 || fields[len(fields)-1] == "" || !strings.Contains(line, " = \"") || !strings.HasPrefix(line, "\t") {
			continue
		}
		value := line[strings.Index(line, `= "`)+3:]
		value = value[:strings.Index(value, `"`)]
		if _, ok := KindOf(Type(value)); !ok {
			t.Errorf("type %s has no row", value)
		}
		declared++
	}
	if declared != len(Kinds()) {
		t.Errorf("%d types are declared, %d have a row", declared, len(Kinds()))
	}
	for _, k := range Kinds() {
		p := k.New()
		if _, ok := p.(interface{ check(*faults) }); !ok {
			t.Errorf("%s: its payload cannot be checked", k.Type)
		}
		_ = refsOf(p) // panics if Refs is not embedded
		if k.Reason && !k.allowsPersonal("reason") {
			t.Errorf("%s: needs a reason it does not allow", k.Type)
		}
	}
}

func TestParseLeafRefuses(t *testing.T) {
	good := string(worked(t))
	if _, err := ParseLeaf([]byte(good)); err != nil {
		t.Fatal(err)
	}
	replace := func(old, with string) string {
		t.Helper()
		if !strings.Contains(good, old) {
			t.Fatalf("the example holds no %s", old)
		}
		return strings.Replace(good, old, with, 1)
	}
	for _, c := range []struct{ name, leaf string }{
		{"nothing", ""},
		{"null", "null"},
		{"a space at the end", good + " "},
		{"a line end", good + "\n"},
		{"two entries", good + good},
		{"a space inside", replace(`"recorded_at":`, `"recorded_at": `)},
		{"another order", replace(`"alg":"ed25519","key":`, `"key":"x","alg":"ed25519","was":`)},
		{"an unknown key", replace(`"recorded_at":`, `"previous":"x","recorded_at":`)},
		{"an unknown key in the payload", replace(`"outcome":"finished"`, `"outcome":"finished","paid":true`)},
		{"a doubled key", replace(`"outcome":"finished"`, `"outcome":"finished","outcome":"finished"`)},
		{"a key in capitals", replace(`"outcome":`, `"Outcome":`)},
		{"another version", replace(`"v":1`, `"v":2`)},
		{"an unknown type", replace(`"type":"sign_off"`, `"type":"sign_on"`)},
		{"another type's payload", replace(`"type":"sign_off"`, `"type":"reading"`)},
		{"a float", replace(`"v":1`, `"v":1.0`)},
		{"an exponent", replace(`"v":1`, `"v":1e0`)},
		{"an integer of 2^53", replace(`"started":`, `"started":9007199254740992,"x":`)},
		{"a needless escape", replace(`finished"`, `fini\u0073hed"`)},
		{"an escaped solidus", replace(`bleed/s1`, `bleed\/s1`)},
		{"an explicit empty field", replace(`"outcome":"finished"`, `"near_miss":false,"outcome":"finished"`)},
		{"null for a list", replace(`"steps":[`, `"steps":null,"x":[`)},
		{"an outcome that does not exist", replace(`"outcome":"finished"`, `"outcome":"perfect"`)},
		{"a critical error at a step not reached", replace(`"result":"taken_over"`, `"result":"not_reached"`)},
		{"a hash too short", replace(`"programme":"`, `"programme":"0`)},
		{"signatures null", good[:strings.Index(good, `"signatures":`)] + `"signatures":null}`},
		{"a signature of another kind", replace(`"alg":"ed25519"`, `"alg":"none"`)},
		{"an id that is no UUIDv7", replace(`"id":"0`, `"id":"x`)},
		{"invalid UTF-8", replace(`finished"`, "finished\xff\"")},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := ParseLeaf([]byte(c.leaf))
			if _, oracle := oracleParse([]byte(c.leaf)); oracle == nil {
				t.Error("the other way reads it")
			}
			var f *FormatError
			if !errors.As(err, &f) {
				t.Errorf("got %v, want a FormatError", err)
			}
		})
	}
	if _, err := ParseLeaf(bytes.Repeat([]byte(" "), MaxLeaf+1)); err == nil {
		t.Error("an entry without bounds is read")
	}
}

func TestNewSubmissionRefuses(t *testing.T) {
	h := found(t)
	head := func(typ Type) Head {
		return Head{Type: typ, At: h.now, Zone: zone, Actor: h.id("sam"), Subject: h.id("pat")}
	}
	reading := ReadingPayload{Lesson: "bleed", Edition: Hash(nil)}
	for _, c := range []struct {
		name     string
		head     Head
		payload  any
		personal map[string]string
		content  map[string][]byte
	}{
		{"another type's payload", head(UnwatchedJob), reading, nil, nil},
		{"no payload", head(LessonRead), nil, nil, nil},
		{"an unknown type", head("nonsense"), reading, nil, nil},
		{"a personal field that the type does not have", head(LessonRead), reading, map[string]string{"mood": "good"}, nil},
		{"content that the type does not have", head(LessonRead), reading, nil, map[string][]byte{"photo": nil}},
		{"content missing", head(PasswordSet), PasswordPayload{}, nil, nil},
		{"a personal field missing", head(StandDownOrdered), StandDownPayload{}, nil, nil},
		{"a personal value that is no text", head(StandDownOrdered), StandDownPayload{}, map[string]string{"reason": "\xff"}, nil},
		{"a date that does not exist", head(UnwatchedJob), UnwatchedJobPayload{Task: "bleed", Date: "2026-02-30"}, nil, nil},
		{"no subject", Head{Type: LessonRead, At: h.now, Zone: zone, Actor: h.id("pat")}, reading, nil, nil},
		{"a subject where there is none", head(SiteAdded), SitePayload{Site: "s", Name: "s", Zone: zone}, nil, nil},
		{"a correction of nothing", head(Corrected), CorrectionPayload{Withdraw: true}, map[string]string{"reason": "r"}, nil},
		{"a time before 1970", Head{Type: LessonRead, ID: h.id("x"), At: -1, Zone: zone, Actor: h.id("pat"), Subject: h.id("pat")}, reading, nil, nil},
		{"gates set aside without an end", head(ClearanceGiven), ClearancePayload{Task: "bleed", Programme: Hash(nil), Program: "x", Waiver: &WaiverMade{Gates: []string{"jobs"}}},
			map[string]string{"reason": "r"}, map[string][]byte{"verdict": nil, "policy": nil, "parameters": nil}},
		{"a waiver without a reason", head(ClearanceGiven), ClearancePayload{Task: "bleed", Programme: Hash(nil), Program: "x", Waiver: &WaiverMade{Gates: []string{}}},
			nil, map[string][]byte{"verdict": nil, "policy": nil, "parameters": nil}},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := NewSubmission(h.random, c.head, c.payload, h.id("pat"), c.personal, c.content)
			var f *FormatError
			if !errors.As(err, &f) {
				t.Errorf("got %v, want a FormatError", err)
			}
		})
	}
}

func TestPersonalFieldsStandAsSaltedHashes(t *testing.T) {
	h := found(t)
	make := func() *Submission {
		s, err := NewSubmission(h.random, Head{Type: StandDownOrdered, At: h.now, Zone: zone, Actor: h.id("sam"), Subject: h.id("pat")},
			StandDownPayload{}, h.id("pat"), map[string]string{"reason": "a name"}, nil)
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	a, b := make(), make()
	if bytes.Contains(a.Body.Payload, []byte("a name")) {
		t.Error("the value stands in the entry")
	}
	if bytes.Equal(a.Body.Payload, b.Body.Payload) {
		t.Error("equal values have equal hashes: they could be guessed")
	}
	p, err := PayloadOf[StandDownPayload](a.Body)
	if err != nil {
		t.Fatal(err)
	}
	if p.Personal["reason"] != a.Personal["reason"].Hash() || string(a.Personal["reason"].Value) != "a name" {
		t.Errorf("%+v", p)
	}
}

func TestIDsAreUUIDv7OfTheirTime(t *testing.T) {
	h := newHistory(t)
	id, err := NewID(h.random, 0x0190_0000_1234)
	if err != nil {
		t.Fatal(err)
	}
	if !ValidID(id) || !strings.HasPrefix(id, "01900000-1234-7") {
		t.Errorf("got %s", id)
	}
	for _, bad := range []string{"", "01900000-1234-4000-8000-000000000000", "01900000-1234-7000-7000-000000000000", "01900000-1234-7000-8000-00000000000G", strings.ToUpper(id) + "A"} {
		if ValidID(bad) {
			t.Errorf("%q counts as an id", bad)
		}
	}
}

// FuzzParseLeaf: no panic, nothing accepted that encodes differently, nothing returned with an error.
func FuzzParseLeaf(f *testing.F) {
	h := found(f)
	for _, leaf := range h.leaves {
		f.Add(leaf)
	}
	f.Add(worked(f))
	f.Add([]byte(`{"body":{"v":1},"recorded_at":0,"signatures":[]}`))
	f.Fuzz(func(t *testing.T, b []byte) {
		e, err := ParseLeaf(b)
		want, oracle := oracleParse(b)
		if (err == nil) != (oracle == nil) {
			t.Fatalf("read: %v; by the other way: %v", err, oracle)
		}
		if err != nil {
			if e.Body.ID != "" {
				t.Error("an entry came back with an error")
			}
			return
		}
		if !reflect.DeepEqual(e, want) {
			t.Errorf("read %+v; by the other way %+v", e, want)
		}
		again, err := e.Leaf()
		if err != nil || !bytes.Equal(again, b) {
			t.Errorf("re-encodes to %s (%v)", again, err)
		}
	})
}
