package rig_test

import (
	"math"
	"testing"

	"chainline/rig"
)

func TestLink(t *testing.T) {
	if _, err := rig.LinkOf(make([]rig.Round, 5)); err == nil {
		t.Error("five round trips are judged")
	}
	var rounds []rig.Round
	for i := range 100 {
		took := 0.2 + 0.01*float64(i%5)
		if i%10 == 9 {
			took = -1
		}
		rounds = append(rounds, rig.Round{Sent: float64(i), Took: took})
	}
	k, err := rig.LinkOf(rounds)
	if err != nil || k.Lost != 10 || k.Loss != 0.1 || math.Abs(k.Median-0.21) > 0.011 || k.P95 < 0.22 || k.Low > k.Median || k.High < k.Median {
		t.Errorf("link %+v, %v", k, err)
	}
}
