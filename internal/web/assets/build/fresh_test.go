package main

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"
)

func TestDistIsFresh(t *testing.T) {
	dir, err := filepath.Abs("..")
	if err != nil {
		t.Fatal(err)
	}
	want, err := bundle(dir)
	if err != nil {
		t.Fatal(err)
	}
	got, err := os.ReadFile("../dist/app.js")
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got, want) {
		t.Error("dist/app.js is not what ts/ bundles to: run 'go generate ./internal/web/assets' and commit it")
	}
}
