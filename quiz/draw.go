package quiz

import (
	"crypto/sha256"
	"encoding/binary"
	"math/rand/v2"
)

// key names a stream of draws: the SHA-256 of what it is drawn for.
type key [sha256.Size]byte

// keyOf hashes the parts with their lengths, so that no two lists of parts share a key.
func keyOf(parts ...string) key {
	return hashed(make([]byte, 0, 256), parts)
}

// hashed takes parts after what text holds already.
func hashed(text []byte, parts []string) key {
	for _, p := range parts {
		text = binary.BigEndian.AppendUint64(text, uint64(len(p)))
		text = append(text, p...)
	}
	return sha256.Sum256(text)
}

// sub is the key of one thing within this key. Streams of different labels are independent, so that one question's
// draws never move another's.
func (k key) sub(parts ...string) key {
	text := binary.BigEndian.AppendUint64(make([]byte, 0, 256), uint64(len(k)))
	return hashed(append(text, k[:]...), parts)
}

// draws starts the key's stream.
func (k key) draws() *draws { return &draws{rand.NewChaCha8(k)} }

// draws is the one source of chance of the package: ChaCha8 (its stream is fixed by specification), read as 64-bit
// integers. The helpers of math/rand/v2 are not used, for their algorithms may change between releases.
type draws struct{ source *rand.ChaCha8 }

// below returns an integer from 0 to n-1, each equally likely; n must be positive.
func (d *draws) below(n int) int {
	if n <= 1 {
		return 0
	}
	m := uint64(n)
	// The first 2^64 mod m values would favour small remainders; they are drawn again.
	reject := -m % m
	for {
		if v := d.source.Uint64(); v >= reject {
			return int(v % m)
		}
	}
}

// between returns an integer from low to high, both included.
func (d *draws) between(low, high int) int { return low + d.below(high-low+1) }

// order returns a permutation of 0 to n-1, each equally likely.
func (d *draws) order(n int) []int {
	p := make([]int, n)
	for i := range p {
		j := d.below(i + 1)
		p[i] = p[j]
		p[j] = i
	}
	return p
}

// shuffled returns the elements of s in an order drawn from d.
func shuffled[T any](d *draws, s []T) []T {
	out := make([]T, len(s))
	for i, j := range d.order(len(s)) {
		out[i] = s[j]
	}
	return out
}

// pick returns one element of s, which must not be empty.
func pick[T any](d *draws, s []T) T { return s[d.below(len(s))] }
