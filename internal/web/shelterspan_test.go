package web

import (
	"testing"

	"chainline/internal/service"
)

// The span holds the mean that stands beside it.
func TestTheSpanOverSheltersHoldsTheMiddlingOne(t *testing.T) {
	for want, c := range map[string]service.RaceCategory{
		"5 % to 8 % by shelter":     {LowShelter: 0.05, MidShelter: 0.08, TopShelter: 0.05},
		"12 % to 17 % by shelter":   {LowShelter: 0.17, MidShelter: 0.13, TopShelter: 0.12},
		"the same with any shelter": {LowShelter: 1, MidShelter: 1, TopShelter: 1},
	} {
		if got := shelterSpan(c); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}
