package wire

import (
	"context"
	"crypto/subtle"
	"crypto/tls"
	"encoding/json"
	"errors"
	"io"
	"log"
	"net"
	"net/http"
	"net/netip"
	"strings"
	"sync"
	"time"

	"chainline/internal/bunch"
)

// Side is what a server serves: the host of a group and its course.
type Side interface {
	Exchange(now time.Time, a bunch.Ask) (bunch.Answer, error)
}

// Server lets guests of one group in at one address. Whatever comes from the
// network is untrusted until it shows the invitation's token, and bounded then.
type Server struct {
	side   Side
	course []byte
	token  string
	now    func() time.Time
	http   *http.Server
	at     net.Addr
	door   door
	done   chan struct{}
}

// Limits of the network's side. Our judgement: sixty guests ask four times a
// second, and a connection that says nothing is closed.
const (
	headerWait = 5 * time.Second
	readWait   = 10 * time.Second
	writeWait  = 60 * time.Second // a long course over a slow link
	idleWait   = 60 * time.Second
	maxHeader  = 8 << 10
	mostConns  = 600
	mostFrom   = 128 // connections from one address
)

// Open listens at an address (host:port) for guests who have the invitation.
func Open(ctx context.Context, address, invitation string, side Side, course []byte, now func() time.Time) (*Server, error) {
	k, err := keysOf(invitation)
	if err != nil {
		return nil, err
	}
	config, err := k.serverTLS()
	if err != nil {
		return nil, err
	}
	var lc net.ListenConfig
	l, err := lc.Listen(ctx, "tcp", address)
	if err != nil {
		return nil, err
	}
	s := &Server{side: side, course: course, token: k.token, now: now, at: l.Addr(), done: make(chan struct{})}
	mux := http.NewServeMux()
	mux.HandleFunc("POST /exchange", s.exchange)
	mux.HandleFunc("GET /course", s.giveCourse)
	s.http = &http.Server{Handler: s.let(mux), ReadHeaderTimeout: headerWait, ReadTimeout: readWait, WriteTimeout: writeWait, IdleTimeout: idleWait,
		MaxHeaderBytes: maxHeader, ErrorLog: log.New(io.Discard, "", 0)}
	go func() {
		defer close(s.done)
		_ = s.http.Serve(tls.NewListener(newLimited(l, mostConns, mostFrom), config)) // ends with Close, which says nothing new
	}()
	return s, nil
}

// Address is where it listens.
func (s *Server) Address() net.Addr { return s.at }

// Close lets nobody in any more.
func (s *Server) Close() error {
	err := s.http.Close()
	<-s.done
	return err
}

// let lets in who shows the token.
func (s *Server) let(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Cache-Control", "no-store")
		shown := strings.TrimPrefix(r.Header.Get("Authorization"), "Bearer ")
		if subtle.ConstantTimeCompare([]byte(shown), []byte(s.token)) == 1 {
			next.ServeHTTP(w, r) // guests who share an address with a guesser are not kept out
			return
		}
		w.Header().Set("Connection", "close")
		if !s.door.wrong(source(r.RemoteAddr), s.now()) {
			http.Error(w, "too many wrong invitations from there", http.StatusTooManyRequests)
			return
		}
		http.Error(w, "that is not this group's invitation", http.StatusUnauthorized)
	})
}

func (s *Server) exchange(w http.ResponseWriter, r *http.Request) {
	a, err := bunch.ReadAsk(http.MaxBytesReader(w, r.Body, bunch.MostAsk+1))
	if err != nil {
		http.Error(w, bunch.Line(err.Error(), 200), http.StatusBadRequest)
		return
	}
	if a.Member != "" && !s.door.often(a.Member, s.now()) {
		http.Error(w, "too often", http.StatusTooManyRequests)
		return
	}
	answer, err := s.side.Exchange(s.now(), a)
	if err != nil {
		http.Error(w, bunch.Line(err.Error(), 200), http.StatusConflict)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	_ = json.NewEncoder(w).Encode(answer) // a guest that went away asks again
}

func (s *Server) giveCourse(w http.ResponseWriter, r *http.Request) {
	w.Header().Set("Content-Type", "application/json")
	_, _ = w.Write(s.course)
}

// source is what wrong invitations are counted by: an IPv4 address, of IPv6
// its /64.
func source(remote string) string {
	p, err := netip.ParseAddrPort(remote)
	if err != nil {
		return remote
	}
	a := p.Addr().Unmap().WithZone("")
	if a.Is4() {
		return a.String()
	}
	net, err := a.Prefix(64)
	if err != nil {
		return a.String()
	}
	return net.String()
}

// door counts wrong invitations by address, and requests by member. Our
// judgement; with 100 random bits no guess succeeds, this keeps guessers from
// taking time.
type door struct {
	mu     sync.Mutex
	wrongs map[string]*count
	asks   map[string]*count
}

type count struct {
	from time.Time
	n    int
}

const (
	wrongsIn   = time.Minute
	mostWrongs = 10
	mostAsks   = 40 // a second, of one member
	mostKnown  = 2000
)

// wrong counts one and tells whether it is still answered.
func (d *door) wrong(from string, now time.Time) bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.wrongs = counted(d.wrongs, from, now, wrongsIn)
	return d.wrongs[from].n <= mostWrongs
}

func (d *door) often(member string, now time.Time) bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.asks = counted(d.asks, member, now, time.Second)
	return d.asks[member].n <= mostAsks
}

// counted counts one more of key within a time.
func counted(m map[string]*count, key string, now time.Time, within time.Duration) map[string]*count {
	if m == nil || len(m) > mostKnown {
		m = map[string]*count{}
	}
	c := m[key]
	if c == nil || now.Sub(c.from) >= within {
		c = &count{from: now}
		m[key] = c
	}
	c.n++
	return m
}

// limited takes only so many connections at a time, in all and from one
// address.
type limited struct {
	net.Listener
	slots chan struct{}
	each  int
	mu    sync.Mutex
	from  map[string]int
}

func newLimited(l net.Listener, most, each int) *limited {
	return &limited{Listener: l, slots: make(chan struct{}, most), each: each, from: map[string]int{}}
}

func (l *limited) Accept() (net.Conn, error) {
	for {
		c, err := l.Listener.Accept()
		if err != nil {
			return nil, err
		}
		from := source(c.RemoteAddr().String())
		if !l.room(from) {
			_ = c.Close()
			continue
		}
		return &held{Conn: c, gone: func() { l.left(from) }}, nil
	}
}

func (l *limited) room(from string) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.from[from] >= l.each {
		return false
	}
	select {
	case l.slots <- struct{}{}:
	default:
		return false
	}
	l.from[from]++
	return true
}

func (l *limited) left(from string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	<-l.slots
	if l.from[from]--; l.from[from] <= 0 {
		delete(l.from, from)
	}
}

type held struct {
	net.Conn
	once sync.Once
	gone func()
}

func (h *held) Close() error {
	h.once.Do(h.gone)
	return h.Conn.Close()
}

// IsStranger tells whether an error says that whoever answered has another key.
func IsStranger(err error) bool { return errors.Is(err, errStranger) }
