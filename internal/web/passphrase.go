package web

import (
	"crypto/rand"
	"crypto/subtle"
	"encoding/base64"
	"fmt"
	"strings"
	"unicode/utf8"

	"golang.org/x/crypto/argon2"

	"chainline/internal/problem"
)

// Cost of one check of a passphrase: argon2id with 19 MiB, two passes and one
// lane, the least that the OWASP password storage cheat sheet gives for
// argon2id (from memory). A check at a time (Server.checking) bounds memory.
const (
	argonMemoryKiB = 19 * 1024
	argonPasses    = 2
	argonLanes     = 1
	argonBytes     = 32
)

// HashPassphrase is what is kept of a passphrase. It is refused if it is
// shorter than 12 characters: there is no other lock.
func HashPassphrase(passphrase string) (string, error) {
	if n := utf8.RuneCountInString(passphrase); n < 12 || n > 200 {
		return "", problem.Bad("passphrase: found %d characters; expected 12 to 200", n).WithHint("Four or five words in a row are easy to type and hard to guess.")
	}
	salt := make([]byte, 16)
	rand.Read(salt)
	key := argon2.IDKey([]byte(passphrase), salt, argonPasses, argonMemoryKiB, argonLanes, argonBytes)
	b64 := base64.RawStdEncoding
	return fmt.Sprintf("$argon2id$v=19$m=%d,t=%d,p=%d$%s$%s", argonMemoryKiB, argonPasses, argonLanes, b64.EncodeToString(salt), b64.EncodeToString(key)), nil
}

// rightPassphrase compares in constant time. A hash of other costs than ours
// matches nothing, so that nobody can make a check expensive.
func rightPassphrase(hash, passphrase string) bool {
	f := strings.Split(hash, "$")
	if len(f) != 6 || f[1] != "argon2id" || f[3] != fmt.Sprintf("m=%d,t=%d,p=%d", argonMemoryKiB, argonPasses, argonLanes) {
		return false
	}
	salt, err1 := base64.RawStdEncoding.DecodeString(f[4])
	key, err2 := base64.RawStdEncoding.DecodeString(f[5])
	if err1 != nil || err2 != nil || len(key) != argonBytes || utf8.RuneCountInString(passphrase) > 200 {
		return false
	}
	got := argon2.IDKey([]byte(passphrase), salt, argonPasses, argonMemoryKiB, argonLanes, argonBytes)
	return subtle.ConstantTimeCompare(got, key) == 1
}
