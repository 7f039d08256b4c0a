package web

import (
	"encoding/base64"
	"net/http"

	"chainline/internal/problem"
)

const flashCookie = "chainline-flash"

// putFlash keeps a sentence for the next page.
func putFlash(w http.ResponseWriter, sentence string) {
	http.SetCookie(w, &http.Cookie{
		Name: flashCookie, Value: base64.RawURLEncoding.EncodeToString([]byte(sentence)),
		Path: "/", MaxAge: 60, HttpOnly: true, SameSite: http.SameSiteStrictMode,
	})
}

// takeFlash is the sentence kept for this page, said only once.
func takeFlash(w http.ResponseWriter, r *http.Request) string {
	c, err := r.Cookie(flashCookie)
	if err != nil {
		return ""
	}
	http.SetCookie(w, &http.Cookie{Name: flashCookie, Path: "/", MaxAge: -1, HttpOnly: true, SameSite: http.SameSiteStrictMode})
	b, err := base64.RawURLEncoding.DecodeString(c.Value)
	if err != nil || len(b) > 500 {
		return ""
	}
	return problem.OneLine(string(b))
}
