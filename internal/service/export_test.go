package service

import (
	"testing"

	"chainline/internal/sensor/bench"
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

// PlainBench is the trainer of the simulated plain rig.
func PlainBench() bench.Plain { return *bench.PlainTrainer(1).Plain }
