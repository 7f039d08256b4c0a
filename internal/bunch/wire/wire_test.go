package wire

import (
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"io"
	"math/big"
	"net"
	"net/http"
	"strings"
	"testing"
	"time"

	"chainline/internal/bunch"
)

// slow passes a TCP connection on with a delay each way, as a distant network
// would.
func slow(t *testing.T, to string, delay time.Duration) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	pass := func(from, into net.Conn) {
		type piece struct {
			due   time.Time
			bytes []byte
		}
		pieces := make(chan piece, 1000)
		go func() {
			defer close(pieces)
			for {
				b := make([]byte, 32<<10)
				n, err := from.Read(b)
				if n > 0 {
					pieces <- piece{time.Now().Add(delay), b[:n]}
				}
				if err != nil {
					return
				}
			}
		}()
		for p := range pieces {
			time.Sleep(time.Until(p.due))
			if _, err := into.Write(p.bytes); err != nil {
				break
			}
		}
		into.Close()
		from.Close()
	}
	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			s, err := net.Dial("tcp", to)
			if err != nil {
				c.Close()
				continue
			}
			go pass(c, s)
			go pass(s, c)
		}
	}()
	return l.Addr().String()
}

func open(t *testing.T, address, invitation string, h *bunch.Host) *Server {
	t.Helper()
	s, err := Open(t.Context(), address, invitation, h, []byte(`{"id":"x"}`), time.Now)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

func dial(t *testing.T, address, invitation string) *Client {
	t.Helper()
	c, err := Dial(address, invitation)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(c.Close)
	return c
}

func eventually(t *testing.T, what string, within time.Duration, done func() bool) {
	t.Helper()
	for end := time.Now().Add(within); !done(); time.Sleep(20 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("waited %v for %s", within, what)
		}
	}
}

// TestTwoGuestsOverTLS: two guests over TLS and 60 ms each way see each other
// where they are; the host's program is closed and opened anew at the same
// address, and both find it again by themselves.
func TestTwoGuestsOverTLS(t *testing.T) {
	invitation := NewInvitation()
	h := bunch.NewHost(bunch.Wish{Group: "g", Title: "Over TLS", Strength: 0.75}, time.Now())
	s := open(t, "127.0.0.1:0", invitation, h)
	at := s.Address().String()
	far := slow(t, at, 60*time.Millisecond)
	ctx, stop := context.WithCancel(t.Context())
	var links []*bunch.Link
	done := make(chan struct{}, 2)
	for _, name := range []string{"Ada", "Bo"} {
		l := bunch.NewLink(dial(t, far, invitation), time.Now, bunch.NewMember(), name)
		links = append(links, l)
		go func() { l.Run(ctx); done <- struct{}{} }()
	}
	begun := time.Now()
	places := []func(time.Time) bunch.Me{
		func(now time.Time) bunch.Me {
			return bunch.Me{M: 8 * now.Sub(begun).Seconds(), SpeedMS: 8, Stage: bunch.Riding, Begun: begun}
		},
		func(now time.Time) bunch.Me {
			return bunch.Me{M: 50 + 10*now.Sub(begun).Seconds(), SpeedMS: 10, Stage: bunch.Riding, Begun: begun}
		},
	}
	together := func() bool { // both ride on and each sees the other within 100 ms of the ride
		good := 0
		for i, l := range links {
			now := time.Now()
			scene := l.Meet(now, places[i](now))
			for _, d := range scene.Dots {
				if off := d.AtM - places[1-i](now).M; !d.You && d.State == bunch.Riding && d.SilentS < 2 && off < 1 && off > -1 && scene.Link == bunch.Well {
					good++
				}
			}
		}
		return good == 2
	}
	eventually(t, "each to see the other", 10*time.Second, together)
	s.Close()
	eventually(t, "the host to be missed", 12*time.Second, func() bool {
		together()
		return links[0].Look(time.Now()).Link == bunch.Silenced
	})
	open(t, at, invitation, bunch.NewHost(h.Wish(), time.Now()))
	eventually(t, "the host to be found again", 15*time.Second, together)
	stop()
	<-done
	<-done
}

// TestWrongInvitation: a guest with another invitation does not even get to
// show it, and whoever does not look at keys is refused, bounded, and cut off;
// a guest with the right one is let in from the same address.
func TestWrongInvitation(t *testing.T) {
	right, wrong := NewInvitation(), NewInvitation()
	h := bunch.NewHost(bunch.Wish{Group: "g", Strength: 0.75}, time.Now())
	at := open(t, "127.0.0.1:0", right, h).Address().String()
	ask := bunch.Ask{Version: bunch.Version}
	if _, err := dial(t, at, wrong).Exchange(t.Context(), ask); !IsStranger(err) {
		t.Errorf("with the wrong invitation: %v", err)
	}
	blind := &http.Client{Transport: &http.Transport{TLSClientConfig: &tls.Config{InsecureSkipVerify: true}}}
	defer blind.CloseIdleConnections()
	k, _ := keysOf(right)
	post := func(token, body string) (int, string) {
		r, err := http.NewRequest(http.MethodPost, "https://"+at+"/exchange", strings.NewReader(body))
		if err != nil {
			t.Fatal(err)
		}
		r.Header.Set("Authorization", "Bearer "+token)
		a, err := blind.Do(r)
		if err != nil {
			t.Fatal(err)
		}
		defer a.Body.Close()
		b, _ := io.ReadAll(a.Body)
		return a.StatusCode, string(b)
	}
	other, _ := keysOf(wrong)
	statuses := map[int]int{}
	for i := range 15 {
		token := other.token
		if i%2 == 1 {
			token = ""
		}
		code, body := post(token, `{"version":1}`)
		statuses[code]++
		if strings.Contains(body, "members") {
			t.Fatalf("answered without the invitation: %s", body)
		}
	}
	if statuses[http.StatusUnauthorized] != mostWrongs || statuses[http.StatusTooManyRequests] != 15-mostWrongs {
		t.Errorf("wrong tokens: %v", statuses)
	}
	if code, body := post(k.token, `{"version":1}`); code != http.StatusOK {
		t.Errorf("the right token after guesses from there: %d %s", code, body)
	}
	for name, body := range map[string]string{
		"too long":        `{"version":1,"name":"` + strings.Repeat("x", 5000) + `"}`,
		"no JSON":         `hello`,
		"another version": `{"version":2}`,
		"infinite":        `{"version":1,"member":"00112233445566778899aabbccddeeff","sample":{"stage":"riding","m":1e999}}`,
		"behind the line": `{"version":1,"member":"00112233445566778899aabbccddeeff","sample":{"stage":"riding","m":-5}}`,
		"no such stage":   `{"version":1,"member":"00112233445566778899aabbccddeeff","sample":{"stage":"<b>","m":5}}`,
		"no secret":       `{"version":1,"member":"me","sample":{"stage":"riding","m":5}}`,
	} {
		if code, said := post(k.token, body); code != http.StatusBadRequest || strings.Count(said, "\n") != 1 {
			t.Errorf("%s: %d %q", name, code, said)
		}
	}
	if n := len(h.Wish().Words.Text); n != 0 {
		t.Error("somebody put words into the host's mouth")
	}
	old := &tls.Config{InsecureSkipVerify: true, MaxVersion: tls.VersionTLS12}
	if c, err := tls.Dial("tcp", at, old); err == nil {
		c.Close()
		t.Error("TLS 1.2 was spoken")
	}
}

// TestWrongCertificate: somebody else with a certificate of their own who has
// taken the host's address gets nothing from a guest, not even the token.
func TestWrongCertificate(t *testing.T) {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	c := x509.Certificate{SerialNumber: big.NewInt(1), DNSNames: []string{serverName}, NotAfter: time.Now().Add(time.Hour)}
	der, err := x509.CreateCertificate(rand.Reader, &c, &c, &key.PublicKey, key)
	if err != nil {
		t.Fatal(err)
	}
	l, err := tls.Listen("tcp", "127.0.0.1:0", &tls.Config{Certificates: []tls.Certificate{{Certificate: [][]byte{der}, PrivateKey: key}}})
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	heard := make(chan int, 1)
	go func() {
		conn, err := l.Accept()
		if err != nil {
			heard <- -1
			return
		}
		defer conn.Close()
		_ = conn.SetDeadline(time.Now().Add(5 * time.Second))
		n, _ := conn.Read(make([]byte, 1000))
		heard <- n
	}()
	_, err = dial(t, l.Addr().String(), NewInvitation()).Exchange(t.Context(), bunch.Ask{Version: bunch.Version})
	if !IsStranger(err) {
		t.Errorf("with another certificate: %v", err)
	}
	if n := <-heard; n > 0 {
		t.Errorf("%d bytes of a request were sent to a stranger", n)
	}
}

func TestInvitations(t *testing.T) {
	seen := map[string]bool{}
	for range 200 {
		s := NewInvitation()
		if len(s) != 24 || seen[s] {
			t.Fatalf("%q", s)
		}
		seen[s] = true
		for _, typed := range []string{s, strings.ToLower(s), strings.ReplaceAll(s, "-", " "), strings.ReplaceAll(s, "-", ""), " " + s + "\n",
			strings.NewReplacer("O", "0", "I", "1", "B", "8").Replace(s)} {
			if got, err := Invitation(typed); err != nil || got != s {
				t.Errorf("%q is read as %q, %v", typed, got, err)
			}
		}
		k, err := keysOf(s)
		if err != nil {
			t.Fatal(err)
		}
		if again, _ := keysOf(strings.ToLower(s)); again.token != k.token || !again.host.Equal(k.host) {
			t.Error("the same invitation gives other keys")
		}
	}
	for _, bad := range []string{"", "AAAA", "AAAA-BBBB-CCCC-DDDD-EEE", "AAAA-BBBB-CCCC-DDDD-EEEEE", "AAAA-BBBB-CCCC-DDDD-EEE9", strings.Repeat("A", 300), "ÄAAA-BBBB-CCCC-DDDD-EEEE"} {
		if got, err := Invitation(bad); err == nil {
			t.Errorf("%q was taken for %q", bad, got)
		} else if strings.Contains(err.Error(), "AAAA") {
			t.Errorf("the error repeats what was typed: %v", err)
		}
	}
	if _, err := Dial("nowhere", NewInvitation()); err == nil {
		t.Error("an address without a port was taken")
	}
}

func TestOnlySoManyConnections(t *testing.T) {
	l := newLimited(nil, 3, 2)
	if !l.room("a") || !l.room("a") || l.room("a") || !l.room("b") || l.room("c") {
		t.Error("room for others than three, two of one address")
	}
	l.left("a")
	if !l.room("c") {
		t.Error("no room after one left")
	}
	if a, b := source("[2001:db8::1]:5"), source("[2001:db8::2]:9"); a != b {
		t.Errorf("one /64 is counted as %s and %s", a, b)
	}
}
