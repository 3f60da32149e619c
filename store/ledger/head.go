package ledger

import (
	"bytes"
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"
)

// A head is the state of the ledger in three lines, signed: C2SP tlog-checkpoint within a C2SP signed note. The origin
// comes first; the tree is that of RFC 6962 over the leaves. tlog.FormatTree writes another log's first line, so the
// body is made here.

// HeadBody is what a head says: these three lines and nothing else.
type HeadBody struct {
	Origin string
	Size   int64 // entries
	Root   tlog.Hash
}

// Text is the body's three lines.
func (h HeadBody) Text() string {
	return h.Origin + "\n" + strconv.FormatInt(h.Size, 10) + "\n" + base64.StdEncoding.EncodeToString(h.Root[:]) + "\n"
}

// ParseHeadBody reads a body strictly: what it accepts, Text writes again byte for byte.
func ParseHeadBody(text string) (HeadBody, error) {
	lines := strings.Split(text, "\n")
	if len(lines) != 4 || lines[3] != "" {
		return HeadBody{}, errors.New("a head has three lines: origin, number of entries, root")
	}
	h := HeadBody{Origin: lines[0]}
	if !validOrigin(h.Origin) {
		return HeadBody{}, fmt.Errorf("the first line %q is no origin", lines[0])
	}
	size, err := strconv.ParseInt(lines[1], 10, 64)
	if err != nil || size < 0 || lines[1] != strconv.FormatInt(size, 10) {
		return HeadBody{}, fmt.Errorf("the second line %q is no number of entries", lines[1])
	}
	root, err := base64.StdEncoding.Strict().DecodeString(lines[2])
	if err != nil || len(root) != tlog.HashSize || base64.StdEncoding.EncodeToString(root) != lines[2] {
		return HeadBody{}, fmt.Errorf("the third line %q is no root", lines[2])
	}
	h.Size = size
	copy(h.Root[:], root)
	if h.Size == 0 && h.Root != EmptyRoot {
		return HeadBody{}, errors.New("the root is not that of an empty ledger")
	}
	return h, nil
}

// EmptyRoot is the root of a tree without leaves: SHA-256 of nothing.
var EmptyRoot = tlog.Hash(sha256.Sum256(nil))

// validOrigin says whether a name can be a head's first line and a key's name.
func validOrigin(s string) bool {
	return s != "" && utf8.ValidString(s) && !strings.ContainsFunc(s, func(r rune) bool {
		return r == '+' || unicode.IsSpace(r) || unicode.IsControl(r)
	})
}

// HeadKey signs heads: the tree key of the key file, under the ledger's origin.
type HeadKey struct {
	origin  string
	private ed25519.PrivateKey
}

// NewHeadKey makes the key from its seed.
func NewHeadKey(origin string, seed [32]byte) (*HeadKey, error) {
	if !validOrigin(origin) {
		return nil, fmt.Errorf("the origin %q cannot be signed for", origin)
	}
	return &HeadKey{origin, ed25519.NewKeyFromSeed(seed[:])}, nil
}

// Public is the key as outsiders are given it: NAME+ID+KEY, a C2SP verifier key.
func (k *HeadKey) Public() string {
	text, err := note.NewEd25519VerifierKey(k.origin, k.private.Public().(ed25519.PublicKey))
	if err != nil { // the length is right by construction
		panic(err)
	}
	return text
}

// Name, KeyHash and Sign make it a note.Signer.
func (k *HeadKey) Name() string                    { return k.origin }
func (k *HeadKey) Sign(msg []byte) ([]byte, error) { return ed25519.Sign(k.private, msg), nil }
func (k *HeadKey) KeyHash() uint32 {
	h := sha256.New()
	h.Write([]byte(k.origin + "\n\x01"))
	h.Write(k.private.Public().(ed25519.PublicKey))
	return binary.BigEndian.Uint32(h.Sum(nil))
}

// SignHead is the signed note of a head. It promises nothing about what was signed before; whoever calls it must have
// made sure that the head extends every earlier one.
func (k *HeadKey) SignHead(size int64, root tlog.Hash) (string, error) {
	b, err := note.Sign(&note.Note{Text: HeadBody{k.origin, size, root}.Text()}, k)
	return string(b), err
}

// TreeHead is a signed head as read.
type TreeHead struct {
	HeadBody
	Note   string // the bytes as they came
	Signed bool   // by the key that was asked for
}

// maxHead bounds a head's bytes, cosignatures included.
const maxHead = 1 << 16

// ParseHead reads a signed note without judging its signatures; at least one must be there.
func ParseHead(text string) (*TreeHead, error) {
	n, err := openNote(text, note.VerifierList())
	var unverified *note.UnverifiedNoteError
	if errors.As(err, &unverified) {
		n, err = unverified.Note, nil
	}
	if err != nil {
		return nil, err
	}
	body, err := ParseHeadBody(n.Text)
	if err != nil {
		return nil, err
	}
	return &TreeHead{HeadBody: body, Note: text}, nil
}

// OpenHead reads a head and demands that it be signed by a key (as HeadKey.Public gives it). Signatures by others, a
// witness's for instance, are passed over.
func OpenHead(text, public string) (*TreeHead, error) {
	v, err := note.NewVerifier(public)
	if err != nil {
		return nil, fmt.Errorf("the key %q cannot be read: %w", public, err)
	}
	n, err := openNote(text, note.VerifierList(v))
	if err != nil {
		return nil, err
	}
	body, err := ParseHeadBody(n.Text)
	if err != nil {
		return nil, err
	}
	if body.Origin != v.Name() {
		return nil, fmt.Errorf("it is of %s, the key of %s", body.Origin, v.Name())
	}
	return &TreeHead{HeadBody: body, Note: text, Signed: true}, nil
}

// openNote opens a note and makes sure that its bytes say nothing in two ways.
func openNote(text string, known note.Verifiers) (*note.Note, error) {
	if len(text) > maxHead {
		return nil, fmt.Errorf("it has %d bytes; a head has at most %d", len(text), maxHead)
	}
	n, err := note.Open([]byte(text), known)
	var unverified *note.UnverifiedNoteError
	found := n
	if errors.As(err, &unverified) {
		found = unverified.Note
	}
	if found == nil {
		return nil, err
	}
	// The library forgives base64 with stray bits and a signature that stands there twice.
	_, signatures, _ := strings.Cut(text, "\n\n")
	lines := strings.Split(strings.TrimSuffix(signatures, "\n"), "\n")
	if len(lines) != len(found.Sigs)+len(found.UnverifiedSigs) {
		return nil, errors.New("a signature stands there twice")
	}
	for _, line := range lines {
		at := strings.LastIndexByte(line, ' ')
		raw, err := base64.StdEncoding.Strict().DecodeString(line[at+1:])
		if err != nil || base64.StdEncoding.EncodeToString(raw) != line[at+1:] {
			return nil, errors.New("a signature is not base64")
		}
	}
	return n, err
}

// HeadOf finds the head in what somebody saved: the note alone, the API's JSON answer, or a file of many heads, one after
// another, of which the longest counts.
func HeadOf(saved []byte) (*TreeHead, error) {
	if len(saved) > 64<<20 {
		return nil, errors.New("it is too large for a head")
	}
	text := strings.ReplaceAll(string(bytes.TrimPrefix(saved, []byte("\xef\xbb\xbf"))), "\r\n", "\n")
	if trimmed := strings.TrimSpace(text); strings.HasPrefix(trimmed, "{") {
		var err error
		if text, err = headInJSON(trimmed); err != nil {
			return nil, err
		}
	}
	var best *TreeHead
	var first error
	for _, one := range SplitHeads(text) {
		h, err := ParseHead(one)
		if err != nil {
			if first == nil {
				first = err
			}
			continue
		}
		if best == nil || h.Size > best.Size {
			best = h
		}
	}
	if best == nil {
		if first == nil {
			first = errors.New("there is nothing in it")
		}
		return nil, fmt.Errorf("it is no signed head: %w", first)
	}
	return best, nil
}

// SplitHeads takes apart a file of heads one after another: each is three lines, an empty one, and signatures.
func SplitHeads(text string) []string {
	var all []string
	var now strings.Builder
	signatures := false
	for _, line := range strings.SplitAfter(text, "\n") {
		is := strings.HasPrefix(line, "— ")
		if signatures && !is {
			all = append(all, now.String())
			now.Reset()
			signatures = false
			if strings.TrimSpace(line) == "" {
				continue
			}
		}
		if is {
			signatures = true
			if !strings.HasSuffix(line, "\n") {
				line += "\n"
			}
		}
		now.WriteString(line)
	}
	if strings.TrimSpace(now.String()) != "" {
		all = append(all, now.String())
	}
	return all
}

// headInJSON takes the note out of an answer {"head": "…"}.
func headInJSON(text string) (string, error) {
	var answer struct {
		Head *string `json:"head"`
	}
	if err := json.Unmarshal([]byte(text), &answer); err != nil || answer.Head == nil {
		return "", errors.New("the JSON has no head in it")
	}
	return *answer.Head, nil
}
