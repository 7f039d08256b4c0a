package race

import "testing"

// TestWhoMayBeUnderAge: an age by year of birth alone may be a year too high.
func TestWhoMayBeUnderAge(t *testing.T) {
	for age, want := range map[float64]bool{0: false, 12: true, 17: true, 18: true, 19: false, 40: false} {
		if got := (Me{Age: age}).Minor(); got != want {
			t.Errorf("of %v years by year of birth: shown no W/kg is %v, want %v", age, got, want)
		}
	}
}
