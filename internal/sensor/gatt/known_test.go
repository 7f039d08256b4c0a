package gatt

import (
	"slices"
	"testing"
)

// Fitness Machine Service 1.0.1, Table 4.1, and the XML of the others: read.
// A control point may refuse a write while its indications are off.
func TestKnownSubscribesToControlPointsFirst(t *testing.T) {
	last := -1
	for i, c := range Known {
		if Indicates(c) {
			if i != last+1 {
				t.Errorf("%04X indicates and comes after a notification", c)
			}
			last = i
		}
		if ServiceOf(c) == 0 {
			t.Errorf("%04X belongs to no service", c)
		}
	}
	if Known[0] != MachineControlPoint || !slices.Contains(Known, MachineStatus) {
		t.Errorf("%04X", Known)
	}
	for _, c := range ReadOnUp {
		if ServiceOf(c) == 0 || c == SerialNumber {
			t.Errorf("%04X is read", c)
		}
	}
	if ServiceOf(0x2A00) != 0 || ServiceOf(HeartRateControlPoint) != HeartRateService {
		t.Error("services of characteristics")
	}
}
