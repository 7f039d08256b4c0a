package web

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"net"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"chainline/internal/store"
	"chainline/internal/web/assets"
)

// Visits are those who gave the passphrase, and those who gave a wrong one.
type Visits interface {
	Visit(ctx context.Context, hash string) (store.Visit, error)
	PutVisit(ctx context.Context, hash string, expires time.Time) error
	DeleteVisit(ctx context.Context, hash string) error
	DeleteVisits(ctx context.Context) error
	AddAttempt(ctx context.Context, from string) error
	Attempts(ctx context.Context, from string, within time.Duration) (int, error)
	ClearAttempts(ctx context.Context, from string) error
}

const (
	visitCookie = "chainline-visit"
	visitLasts  = 7 * 24 * time.Hour

	// Wrong passphrases before one has to wait: from one address, and from
	// everywhere together, so that many addresses do not help. Our judgement:
	// 40 guesses in a quarter of an hour find no phrase of 12 characters.
	attemptsFrom = 5
	attemptsAll  = 40
	attemptsSpan = 15 * time.Minute
)

// guarded is whether a passphrase is asked for.
func (s *Server) guarded() bool { return s.hash.Load() != nil }

func (s *Server) visitRoutes() {
	s.get("/login", s.loginPage)
	s.post("/login", s.login)
	s.post("/logout", s.logout)
}

// mayPass is whether whoever asks has been let in, if that is needed at all.
func (s *Server) mayPass(w http.ResponseWriter, r *http.Request) bool {
	if !s.guarded() || r.URL.Path == "/login" || strings.HasPrefix(r.URL.Path, assets.Prefix) || s.inside(r) {
		return true
	}
	if r.Method == http.MethodGet && !forProgram(r) {
		http.Redirect(w, r, "/login?to="+url.QueryEscape(r.URL.RequestURI()), http.StatusSeeOther)
		return false
	}
	refused(w, r, http.StatusUnauthorized, "The passphrase is needed first.")
	return false
}

// inside is whether the request belongs to a visit that has not expired.
func (s *Server) inside(r *http.Request) bool {
	c, err := r.Cookie(visitCookie)
	if err != nil {
		return false
	}
	v, err := s.store.Visit(r.Context(), tokenHash(c.Value))
	if err != nil {
		if !errors.Is(err, store.ErrNotFound) {
			s.log.Error("visit", "id", requestID(r), "err", err)
		}
		return false
	}
	return v.Expires.After(s.now())
}

func tokenHash(token string) string {
	sum := sha256.Sum256([]byte(token))
	return hex.EncodeToString(sum[:])
}

func (s *Server) loginPage(w http.ResponseWriter, r *http.Request) error {
	if !s.guarded() {
		return s.see(w, r, "/", "")
	}
	return s.show(w, r, http.StatusOK, newLoginPage(r.FormValue("to"), ""))
}

func newLoginPage(to, wrong string) *LoginPage {
	f := NewForm("/login", nil, map[string]string{"passphrase": wrong})
	return &LoginPage{
		Base: Base{Title: "Passphrase", Bare: true}, To: localPath(to),
		Passphrase: f.Field(Field{Name: "passphrase", Label: "Passphrase", Kind: "secret", Fill: "current-password"}),
	}
}

// localPath is where to go afterwards: a path of ours, never another site.
func localPath(to string) string {
	u, err := url.Parse(to)
	if err != nil || u.Scheme != "" || u.Host != "" || !strings.HasPrefix(to, "/") || strings.HasPrefix(to, "//") || strings.ContainsAny(to, "\\\r\n") {
		return "/"
	}
	return to
}

// login checks a passphrase, one at a time, and only while there were few
// wrong ones lately.
func (s *Server) login(w http.ResponseWriter, r *http.Request) error {
	if !s.guarded() {
		return s.see(w, r, "/", "")
	}
	select {
	case s.waiting <- struct{}{}:
		defer func() { <-s.waiting }()
	default:
		return refuse(http.StatusServiceUnavailable, "Others are being checked. Try again in a moment.")
	}
	s.checking.Lock()
	defer s.checking.Unlock()
	from := remote(r)
	if wait, err := s.mustWait(r.Context(), from); err != nil {
		return err
	} else if wait {
		w.Header().Set("Retry-After", strconv.Itoa(int(attemptsSpan.Seconds())))
		return refuse(http.StatusTooManyRequests, "Too many wrong passphrases. Try again in a quarter of an hour.")
	}
	if !rightPassphrase(*s.hash.Load(), r.PostFormValue("passphrase")) {
		s.log.Warn("wrong passphrase", "id", requestID(r))
		if err := s.store.AddAttempt(r.Context(), from); err != nil {
			return err
		}
		return s.show(w, r, http.StatusForbidden, newLoginPage(r.PostFormValue("to"), "That is not the passphrase."))
	}
	if err := s.store.ClearAttempts(r.Context(), from); err != nil {
		return err
	}
	token, expires := rand.Text(), s.now().Add(visitLasts)
	if err := s.store.PutVisit(r.Context(), tokenHash(token), expires); err != nil {
		return err
	}
	http.SetCookie(w, &http.Cookie{Name: visitCookie, Value: token, Path: "/", Expires: expires, HttpOnly: true, SameSite: http.SameSiteStrictMode})
	return s.see(w, r, localPath(r.PostFormValue("to")), "")
}

func (s *Server) mustWait(ctx context.Context, from string) (bool, error) {
	mine, err := s.store.Attempts(ctx, from, attemptsSpan)
	if err != nil {
		return false, err
	}
	all, err := s.store.Attempts(ctx, "", attemptsSpan)
	return mine >= attemptsFrom || all >= attemptsAll, err
}

// remote is the address that asks, without its port; of an IPv6 address the
// network, because one machine has very many of those.
func remote(r *http.Request) string {
	host, _, err := net.SplitHostPort(r.RemoteAddr)
	if err != nil {
		return "unknown"
	}
	ip := net.ParseIP(host)
	if ip != nil && ip.To4() == nil {
		return ip.Mask(net.CIDRMask(64, 128)).String() + "/64"
	}
	return host
}

func (s *Server) logout(w http.ResponseWriter, r *http.Request) error {
	if c, err := r.Cookie(visitCookie); err == nil {
		if err := s.store.DeleteVisit(r.Context(), tokenHash(c.Value)); err != nil {
			return err
		}
	}
	http.SetCookie(w, &http.Cookie{Name: visitCookie, Path: "/", MaxAge: -1, HttpOnly: true, SameSite: http.SameSiteStrictMode})
	return s.see(w, r, "/login", "")
}
