package store

import (
	"crypto/subtle"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"strings"

	"golang.org/x/crypto/argon2"
	"golang.org/x/text/unicode/norm"

	"brakewright/store/ledger"
)

// PasswordCost is the cost of newly hashed log-in passwords (OWASP's floor for argon2id). It is a variable for tests and
// demonstrations only; each hash carries its own cost.
var PasswordCost = ledger.Cost{MemoryKiB: 19456, Time: 2, Threads: 1}

// HashPassword returns a PHC string (argon2id, version 19, salt of 16 and tag of 32 bytes) of a password in NFKC.
func HashPassword(random io.Reader, password string) (string, error) {
	salt := make([]byte, 16)
	if _, err := io.ReadFull(random, salt); err != nil {
		return "", fmt.Errorf("hash a password: %w", err)
	}
	c := PasswordCost
	return phc(c, salt, stretchPassword(c, password, salt, 32)), nil
}

func stretchPassword(c ledger.Cost, password string, salt []byte, size uint32) []byte {
	return argon2.IDKey(norm.NFKC.Bytes([]byte(password)), salt, c.Time, c.MemoryKiB, c.Threads, size)
}

func phc(c ledger.Cost, salt, tag []byte) string {
	b := base64.RawStdEncoding
	return fmt.Sprintf("$argon2id$v=19$m=%d,t=%d,p=%d$%s$%s", c.MemoryKiB, c.Time, c.Threads, b.EncodeToString(salt), b.EncodeToString(tag))
}

// CheckPassword says whether a password fits a PHC string, and whether the hash is of another cost than new ones have.
func CheckPassword(phcString, password string) (ok, stale bool, err error) {
	c, salt, tag, err := parsePHC(phcString)
	if err != nil {
		return false, false, fmt.Errorf("password hash: %w", err)
	}
	got := stretchPassword(c, password, salt, uint32(len(tag)))
	return subtle.ConstantTimeCompare(got, tag) == 1, c != PasswordCost, nil
}

// parsePHC reads what phc writes, and nothing else.
func parsePHC(s string) (c ledger.Cost, salt, tag []byte, err error) {
	parts := strings.Split(s, "$")
	if len(parts) != 6 || parts[1] != "argon2id" || parts[2] != "v=19" {
		return c, nil, nil, errors.New("it is not argon2id version 19")
	}
	if _, err := fmt.Sscanf(parts[3], "m=%d,t=%d,p=%d", &c.MemoryKiB, &c.Time, &c.Threads); err != nil {
		return c, nil, nil, errors.New("its parameters are damaged")
	}
	if !c.Allowed() {
		return c, nil, nil, fmt.Errorf("its cost %+v is out of bounds", c)
	}
	salt, err1 := base64.RawStdEncoding.DecodeString(parts[4])
	tag, err2 := base64.RawStdEncoding.DecodeString(parts[5])
	if err1 != nil || err2 != nil || len(salt) < 8 || len(tag) < 16 || len(tag) > 64 || phc(c, salt, tag) != s {
		return c, nil, nil, errors.New("it is damaged")
	}
	return c, salt, tag, nil
}
