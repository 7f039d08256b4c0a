package service

import (
	"testing"

	"chainline/rig"
)

// CheckInputOf shows a test what a check looks at.
func CheckInputOf(t *testing.T, q CheckRequest) rig.CheckInput {
	t.Helper()
	in, names, err := q.input()
	if err != nil {
		t.Fatal(err)
	}
	if _, err := q.told(&in, names); err != nil {
		t.Fatal(err)
	}
	return in
}
