package web

import (
	"context"
	"crypto/rand"
	"encoding/json"
	"net"
	"net/http"
	"net/netip"
	"runtime/debug"
	"slices"
	"strings"
)

// policy lets a page load what this program serves and nothing else: no
// inline script or style, no frame, no request to anywhere.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; font-src 'self'; " +
	"connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"

type requestKey struct{}

// requestID tells one request's lines in the log from others'.
func requestID(r *http.Request) string {
	id, _ := r.Context().Value(requestKey{}).(string)
	return id
}

// guard stands before everything: it decides whether a request is let in, and
// what a browser may do with the answer. From the outside in: number, panic,
// headers, name asked for, path, other sites, visit.
func (s *Server) guard(next http.Handler) http.Handler {
	cross := http.NewCrossOriginProtection()
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		r = r.WithContext(context.WithValue(r.Context(), requestKey{}, rand.Text()[:8]))
		defer s.recover(w, r)
		setHeaders(w.Header())
		if !s.knownHost(r) {
			s.log.Warn("refused: asked for under another name", "id", requestID(r))
			refused(w, r, http.StatusMisdirectedRequest, "This program does not answer to that name. Use the address it printed when it started.")
			return
		}
		if oddPath(r.URL.Path) {
			refused(w, r, http.StatusBadRequest, "There is no such path.")
			return
		}
		if err := cross.Check(r); err != nil {
			s.log.Warn("refused: sent by another site", "id", requestID(r))
			refused(w, r, http.StatusForbidden, "Refused: this was sent by another site.")
			return
		}
		if !s.mayPass(w, r) {
			return
		}
		next.ServeHTTP(w, r)
		s.log.Debug("request", "id", requestID(r), "route", r.Pattern)
	})
}

// refused writes a refusal that comes before any page: a sentence, or for
// programs a problem as the API's own are (RFC 9457).
func refused(w http.ResponseWriter, r *http.Request, status int, message string) {
	if !forProgram(r) {
		http.Error(w, message, status)
		return
	}
	w.Header().Set("Content-Type", "application/problem+json")
	w.WriteHeader(status)
	_ = json.NewEncoder(w).Encode(struct { // whoever hung up has no use for it
		Title  string `json:"title"`
		Status int    `json:"status"`
		Detail string `json:"detail"`
	}{http.StatusText(status), status, message})
}

// forProgram is whether a request is for the API rather than for a page.
func forProgram(r *http.Request) bool { return strings.HasPrefix(r.URL.Path, "/api/") }

func (s *Server) recover(w http.ResponseWriter, r *http.Request) {
	v := recover()
	if v == nil {
		return
	}
	if v == http.ErrAbortHandler {
		panic(v)
	}
	s.log.Error("panic", "id", requestID(r), "route", r.Pattern, "value", v, "stack", string(debug.Stack()))
	s.showError(w, r, &ErrorPage{
		Status:  http.StatusInternalServerError,
		Message: "Something went wrong inside the program.",
		Hint:    "What you have saved is safe. The program's log says more under " + requestID(r) + ".",
	})
}

func setHeaders(h http.Header) {
	h.Set("Content-Security-Policy", policy)
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("Referrer-Policy", "no-referrer")
	h.Set("Cross-Origin-Opener-Policy", "same-origin")
	h.Set("Cross-Origin-Resource-Policy", "same-origin")
	h.Set("Permissions-Policy", "camera=(), geolocation=(), microphone=(), payment=(), usb=()")
	h.Set("Cache-Control", "no-store")
}

// knownHost is whether the name asked for is one of ours. A site elsewhere
// whose name was made to point here asks under its own name and is refused.
// An address of this machine is known when the request came in on it.
func (s *Server) knownHost(r *http.Request) bool {
	host := r.Host
	if h, _, err := net.SplitHostPort(host); err == nil {
		host = h
	}
	host = strings.ToLower(strings.TrimSuffix(host, "."))
	if host == "localhost" || slices.Contains(s.hosts, host) {
		return true
	}
	ip, err := netip.ParseAddr(strings.Trim(host, "[]"))
	if err != nil {
		return false
	}
	if ip.IsLoopback() {
		return true
	}
	local, ok := r.Context().Value(http.LocalAddrContextKey).(net.Addr)
	if !ok {
		return false
	}
	at, err := netip.ParseAddrPort(local.String())
	return err == nil && at.Addr().Unmap() == ip.Unmap()
}

// oddPath is whether a path, decoded, tries to climb or to hide something.
func oddPath(path string) bool {
	if strings.ContainsAny(path, "\\\x00") {
		return true
	}
	return slices.Contains(strings.Split(path, "/"), "..")
}
