// Package wire carries the exchanges of a live group course over a network:
// TLS 1.3 between a host and guests who share an invitation, and nothing else.
// docs/group.md and docs/security.md state what it protects against.
package wire

import (
	"crypto/ed25519"
	"crypto/hkdf"
	"crypto/rand"
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/base32"
	"encoding/hex"
	"fmt"
	"math/big"
	"strings"
	"time"
)

// An invitation is 100 random bits in base32 (RFC 4648), five groups of four.
const (
	inviteChars = 20
	inviteGroup = 4
)

var letters = base32.StdEncoding.WithPadding(base32.NoPadding)

// NewInvitation draws one.
func NewInvitation() string {
	var b [13]byte // 104 bits, of which 100 are used
	_, _ = rand.Read(b[:])
	return grouped(letters.EncodeToString(b[:])[:inviteChars])
}

func grouped(s string) string {
	var out []string
	for ; len(s) > 0; s = s[min(inviteGroup, len(s)):] {
		out = append(out, s[:min(inviteGroup, len(s))])
	}
	return strings.Join(out, "-")
}

// Invitation reads what somebody typed, in either case, with whatever between
// the groups; 0, 1 and 8, which do not occur, are taken for O, I and B. The
// error says what was expected and does not repeat what was typed.
func Invitation(typed string) (string, error) {
	if len(typed) > 200 {
		return "", fmt.Errorf("that is no invitation; expected five groups of four letters and digits")
	}
	var b strings.Builder
	for _, r := range strings.ToUpper(typed) {
		switch {
		case r >= 'A' && r <= 'Z' || r >= '2' && r <= '7':
			b.WriteRune(r)
		case r == '0':
			b.WriteByte('O')
		case r == '1':
			b.WriteByte('I')
		case r == '8':
			b.WriteByte('B')
		case strings.ContainsRune(" -_.\t\n\r\u2010\u2011\u2012\u2013\u00a0", r):
		default:
			return "", fmt.Errorf("an invitation has letters and the digits 2 to 7 only")
		}
	}
	if b.Len() != inviteChars {
		return "", fmt.Errorf("an invitation has %d letters and digits; found %d", inviteChars, b.Len())
	}
	return grouped(b.String()), nil
}

// keys are what both sides make of an invitation.
type keys struct {
	host  ed25519.PrivateKey
	token string // that guests show
}

// keysOf derives them by HKDF (RFC 5869) with SHA-256.
func keysOf(invitation string) (keys, error) {
	clean, err := Invitation(invitation)
	if err != nil {
		return keys{}, err
	}
	secret := []byte(strings.ReplaceAll(clean, "-", ""))
	seed, err := hkdf.Key(sha256.New, secret, nil, "chainline group 1: host's key", ed25519.SeedSize)
	if err != nil {
		return keys{}, err
	}
	token, err := hkdf.Key(sha256.New, secret, nil, "chainline group 1: guests' token", 32)
	if err != nil {
		return keys{}, err
	}
	return keys{ed25519.NewKeyFromSeed(seed), hex.EncodeToString(token)}, nil
}

// serverName stands in the certificate; it is no name of a network.
const serverName = "group.chainline.invalid"

// serverTLS is the host's side: a certificate made of the invitation's key
// alone, so that a host that was restarted shows the same key.
func (k keys) serverTLS() (*tls.Config, error) {
	t := x509.Certificate{SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: serverName}, DNSNames: []string{serverName},
		NotBefore: time.Date(2020, 1, 1, 0, 0, 0, 0, time.UTC), NotAfter: time.Date(9999, 12, 31, 0, 0, 0, 0, time.UTC), // guests look at the key, not at a date
		KeyUsage: x509.KeyUsageDigitalSignature, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth}, BasicConstraintsValid: true}
	der, err := x509.CreateCertificate(rand.Reader, &t, &t, k.host.Public(), k.host)
	if err != nil {
		return nil, err
	}
	return &tls.Config{MinVersion: tls.VersionTLS13, NextProtos: []string{"http/1.1"},
		Certificates: []tls.Certificate{{Certificate: [][]byte{der}, PrivateKey: k.host}}}, nil
}

// errStranger is a host with another key.
var errStranger = fmt.Errorf("whoever answers there does not know this invitation")

// clientTLS is a guest's side: exactly the host's key is accepted, whatever
// else the certificate says.
func (k keys) clientTLS() *tls.Config {
	want := k.host.Public().(ed25519.PublicKey)
	return &tls.Config{MinVersion: tls.VersionTLS13, NextProtos: []string{"http/1.1"}, ServerName: serverName,
		InsecureSkipVerify: true, // the key is looked at instead of a chain: below
		VerifyConnection: func(s tls.ConnectionState) error {
			if len(s.PeerCertificates) == 0 {
				return errStranger
			}
			if got, ok := s.PeerCertificates[0].PublicKey.(ed25519.PublicKey); !ok || !want.Equal(got) {
				return errStranger
			}
			return nil
		}}
}
