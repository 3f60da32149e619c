package server

import (
	"encoding/base64"
	"net/http"

	"golang.org/x/mod/sumdb/tlog"

	"brakewright/store"
)

// The head and its proofs are hashes and nothing else: whoever was given an entry or an older head can check it here
// without an account.

// apiHead gives the signed head of the ledger as it is now.
func apiHead(c *apiCall) (apiAnswer, error) {
	head, err := c.server.store.TreeHead(c.ctx())
	if err != nil {
		return apiAnswer{}, err
	}
	key, err := c.server.store.HeadKey(c.ctx())
	if err != nil {
		return apiAnswer{}, err
	}
	return ok(struct {
		Head   string `json:"head"` // C2SP checkpoint in a signed note
		Key    string `json:"key"`  // C2SP verifier key
		Origin string `json:"origin"`
		Size   int64  `json:"size"`
		Root   string `json:"root"` // base64
	}{head.Note, key, head.Origin, head.Size, head.Root.String()})
}

// apiProof proves that an entry stands in the tree of a size (index), or that the tree of a size begins with that of a
// smaller one (from). Without size, it is that of the head.
func apiProof(c *apiCall) (apiAnswer, error) {
	if (c.q("index") == "") == (c.q("from") == "") {
		return apiAnswer{}, failure{status: http.StatusBadRequest, code: "bad_number", field: "index",
			text: "Name either index, an entry, or from, the size of a smaller tree."}
	}
	size, err := c.number("size", -1)
	if err != nil {
		return apiAnswer{}, err
	}
	if size < 0 {
		head, err := c.server.store.TreeHead(c.ctx())
		if err != nil {
			return apiAnswer{}, err
		}
		size = head.Size
	}
	name, prove := "index", c.server.store.ProveEntry
	if c.q("from") != "" {
		name, prove = "from", c.server.store.ProveGrowth
	}
	n, err := c.number(name, 0)
	if err != nil {
		return apiAnswer{}, err
	}
	p, err := prove(c.ctx(), n, size)
	if err != nil {
		return apiAnswer{}, err
	}
	return ok(newProofAnswer(name, n, p))
}

func newProofAnswer(name string, n int64, p store.Proof) map[string]any {
	return map[string]any{name: n, "size": p.Size, "root": p.Root.String(), "hashes": base64Hashes(p.Hashes)}
}

func base64Hashes(hashes []tlog.Hash) []string {
	all := make([]string, len(hashes))
	for i, h := range hashes {
		all[i] = base64.StdEncoding.EncodeToString(h[:])
	}
	return all
}
