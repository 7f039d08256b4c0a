package service

import (
	"testing"

	"chainline/rig"
)

// CheckInputOf shows a test what a check looks at.
func CheckInputOf(t *testing.T, q CheckRequest) rig.CheckInput {
	t.Helper()
	in, _, err := q.input()
	if err != nil {
		t.Fatal(err)
	}
	return in
}
