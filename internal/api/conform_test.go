package api

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"math"
	"mime"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"testing"
	"time"

	"chainline/internal/service"
	"chainline/internal/store"
)

var noon = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)

// client asks an API over a real store and holds every answer to the document
// that the same API serves.
type client struct {
	t     *testing.T
	store *store.Store
	api   http.Handler
	doc   map[string]any
	seen  map[string]bool // "GET /api/v1/riders/{id} 200"
}

func newClient(t *testing.T) *client {
	t.Helper()
	s, err := store.Open(t.Context(), t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	s.Now = func() time.Time { return noon }
	s.Check = func(o store.Object) error {
		if o.Original == nil {
			return service.Check(string(o.Kind), o.Text, nil)
		}
		return service.Check(string(o.Kind), o.Text, o.Original.Bytes)
	}
	c := &client{t: t, store: s, seen: map[string]bool{}}
	library := service.NewApp(service.AppConfig{Store: s, Now: s.Now, Log: slog.New(slog.DiscardHandler), Workers: 2})
	t.Cleanup(func() { library.Close() })
	c.api = New(Config{Store: s, Now: s.Now, Log: slog.New(slog.DiscardHandler), Workers: 2, Library: library})
	answer := httptest.NewRecorder()
	c.api.ServeHTTP(answer, httptest.NewRequest("GET", Prefix+"/openapi.json", nil))
	if err := json.Unmarshal(answer.Body.Bytes(), &c.doc); err != nil {
		t.Fatal(err)
	}
	return c
}

type answer struct {
	*httptest.ResponseRecorder
	t *testing.T
}

func (a answer) json() map[string]any {
	a.t.Helper()
	var v map[string]any
	if err := json.Unmarshal(a.Body.Bytes(), &v); err != nil {
		a.t.Fatalf("%v in %.200s", err, a.Body)
	}
	return v
}

// id of what was made, from where it is kept.
func (a answer) id() string {
	at := a.Header().Get("Location")
	return at[strings.LastIndex(at, "/")+1:]
}

// do sends a request below the prefix; a body that is no string is sent as
// JSON. The answer must have the status, and conform.
func (c *client) do(method, path string, body any, status int) answer {
	c.t.Helper()
	var r io.Reader
	media := "application/octet-stream"
	switch b := body.(type) {
	case nil:
	case string:
		r = strings.NewReader(b)
	default:
		sent, err := json.Marshal(b)
		if err != nil {
			c.t.Fatal(err)
		}
		r, media = bytes.NewReader(sent), "application/json"
	}
	q := httptest.NewRequest(method, Prefix+path, r)
	if r != nil {
		q.Header.Set("Content-Type", media)
	}
	return c.send(q, status)
}

func (c *client) send(q *http.Request, status int) answer {
	c.t.Helper()
	got := answer{httptest.NewRecorder(), c.t}
	c.api.ServeHTTP(got, q)
	if got.Code != status {
		c.t.Fatalf("%s %s: status %d, expected %d: %.400s", q.Method, q.URL, got.Code, status, got.Body)
	}
	c.conforms(q, got)
	return got
}

func (c *client) conforms(q *http.Request, got answer) {
	c.t.Helper()
	route, op := c.operation(q.Method, q.URL.EscapedPath())
	if op == nil {
		if got.Code != 404 && got.Code != 405 {
			c.t.Errorf("%s %s is not in the document", q.Method, q.URL.Path)
		}
		return
	}
	c.seen[fmt.Sprintf("%s %s %d", q.Method, route, got.Code)] = true
	response, _ := op["responses"].(map[string]any)[fmt.Sprint(got.Code)].(map[string]any)
	if response == nil {
		c.t.Errorf("%s %s: the document does not know status %d", q.Method, route, got.Code)
		return
	}
	content, _ := response["content"].(map[string]any)
	if content == nil {
		if got.Body.Len() > 0 {
			c.t.Errorf("%s %s: a body that the document does not know: %.100s", q.Method, route, got.Body)
		}
		return
	}
	media, _, err := mime.ParseMediaType(got.Header().Get("Content-Type"))
	described, _ := content[media].(map[string]any)
	if any, ok := content["*/*"].(map[string]any); ok {
		described = any
	}
	if err != nil || described == nil {
		c.t.Errorf("%s %s: media type %q is not in the document", q.Method, route, got.Header().Get("Content-Type"))
		return
	}
	if !strings.HasSuffix(media, "json") {
		return
	}
	var v any
	if err := json.Unmarshal(got.Body.Bytes(), &v); err != nil {
		c.t.Errorf("%s %s: %v", q.Method, route, err)
		return
	}
	for _, wrong := range c.check(described["schema"].(map[string]any), v, "") {
		c.t.Errorf("%s %s %d: %s", q.Method, route, got.Code, wrong)
	}
}

// operation finds a path in the document; one without a name in it first.
func (c *client) operation(method, path string) (route string, op map[string]any) {
	for p, item := range c.doc["paths"].(map[string]any) {
		want, have := strings.Split(p, "/"), strings.Split(path, "/")
		if len(want) != len(have) {
			continue
		}
		fits := true
		for i := range want {
			fits = fits && (want[i] == have[i] || strings.HasPrefix(want[i], "{"))
		}
		found, _ := item.(map[string]any)[strings.ToLower(method)].(map[string]any)
		if fits && found != nil && (op == nil || !strings.Contains(p, "{")) {
			route, op = p, found
		}
	}
	return route, op
}

// check holds a value to a schema: references, types, required and unknown
// keys, words to choose from.
func (c *client) check(schema map[string]any, v any, at string) (wrong []string) {
	if ref, ok := schema["$ref"].(string); ok {
		named, _ := c.doc["components"].(map[string]any)["schemas"].(map[string]any)[ref[strings.LastIndex(ref, "/")+1:]].(map[string]any)
		if named == nil {
			return []string{at + ": " + ref + " leads nowhere"}
		}
		return c.check(named, v, at)
	}
	if !slices.ContainsFunc(typesOf(schema), func(t string) bool { return isA(t, v) }) {
		return []string{fmt.Sprintf("%s: %.40v is no %v", at, v, schema["type"])}
	}
	if words, ok := schema["enum"].([]any); ok && !slices.Contains(words, v) {
		wrong = append(wrong, fmt.Sprintf("%s: %v is none of %v", at, v, words))
	}
	switch v := v.(type) {
	case []any:
		for i, e := range v {
			wrong = append(wrong, c.check(schema["items"].(map[string]any), e, fmt.Sprintf("%s[%d]", at, i))...)
		}
	case map[string]any:
		known, _ := schema["properties"].(map[string]any)
		required, _ := schema["required"].([]any)
		for _, key := range required {
			if _, ok := v[key.(string)]; !ok {
				wrong = append(wrong, fmt.Sprintf("%s.%s is missing", at, key))
			}
		}
		for key, e := range v {
			if s, ok := known[key].(map[string]any); ok {
				wrong = append(wrong, c.check(s, e, at+"."+key)...)
			} else {
				wrong = append(wrong, at+"."+key+" is not in the document")
			}
		}
	}
	return wrong
}

func typesOf(schema map[string]any) (types []string) {
	switch t := schema["type"].(type) {
	case string:
		types = []string{t}
	case []any:
		for _, one := range t {
			types = append(types, one.(string))
		}
	}
	return types
}

func isA(t string, v any) bool {
	switch v := v.(type) {
	case nil:
		return t == "null"
	case string:
		return t == "string"
	case bool:
		return t == "boolean"
	case float64:
		return t == "number" || t == "integer" && v == math.Trunc(v)
	case []any:
		return t == "array"
	}
	return t == "object"
}

// The checker itself can find something.
func TestCheckerFinds(t *testing.T) {
	c := newClient(t)
	problem := c.doc["components"].(map[string]any)["schemas"].(map[string]any)["Problem"].(map[string]any)
	good := map[string]any{"title": "Not Found", "status": 404.0, "detail": "x"}
	if wrong := c.check(problem, good, ""); len(wrong) > 0 {
		t.Error(wrong)
	}
	for name, v := range map[string]any{
		"missing": map[string]any{"title": "x", "status": 404.0},
		"unknown": map[string]any{"title": "x", "status": 404.0, "detail": "x", "more": 1.0},
		"type":    map[string]any{"title": "x", "status": "404", "detail": "x"},
		"broken":  map[string]any{"title": "x", "status": 404.5, "detail": "x"},
		"inside":  map[string]any{"title": "x", "status": 404.0, "detail": "x", "errors": []any{map[string]any{}}},
		"null":    nil,
	} {
		if len(c.check(problem, v, "")) == 0 {
			t.Errorf("%s: taken for a problem", name)
		}
	}
}
