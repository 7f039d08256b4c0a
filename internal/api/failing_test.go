package api

import (
	"context"
	"errors"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"chainline/internal/problem"
	"chainline/internal/store"
)

// failing is a store whose disk has gone.
type failing struct {
	Store
	err error
}

func (f failing) Objects(context.Context, store.Kind) ([]store.Object, error) { return nil, f.err }
func (f failing) Export(_ context.Context, w io.Writer, _ string) error {
	_, _ = w.Write([]byte("PK half"))
	return f.err
}

func TestFailuresInside(t *testing.T) {
	c := newClient(t)
	var log strings.Builder
	for _, f := range []struct {
		err  error
		says string
	}{
		{errors.New("read /home/ann/chainline.db: input/output error"), "Something went wrong inside the program."},
		{&problem.Error{Message: "the disk is full", Err: errors.New("/home/ann")}, "the disk is full"},
	} {
		c.api = New(Config{Store: failing{c.store, f.err}, Now: c.store.Now, Log: slog.New(slog.NewTextHandler(&log, nil))})
		got := c.do("GET", "/riders", nil, 500)
		if p := got.json(); p["detail"] != f.says || strings.Contains(got.Body.String(), "/home/ann") {
			t.Errorf("%v", p)
		}
		if !strings.Contains(log.String(), "/home/ann") {
			t.Errorf("the log says %q", log.String())
		}
		log.Reset()
	}
}

// An export that breaks off must not look whole to whoever receives it.
func TestExportBreaksOff(t *testing.T) {
	c := newClient(t)
	api := New(Config{Store: failing{c.store, errors.New("the disk has gone")}, Now: c.store.Now, Log: slog.New(slog.DiscardHandler)})
	server := httptest.NewServer(api)
	defer server.Close()
	answer, err := http.Get(server.URL + Prefix + "/export")
	if err == nil {
		_, err = io.ReadAll(answer.Body)
		answer.Body.Close()
	}
	if err == nil {
		t.Error("half an archive was received as a whole")
	}
}
