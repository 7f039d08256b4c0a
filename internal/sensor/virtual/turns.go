package virtual

import "math"

// Turns counts whole turns of a wheel or a crank, and when the last one was
// completed: what counters of revolutions on the radio say.
type Turns struct {
	Whole uint32
	At    float64 // s, when the last whole turn was completed
	part  float64 // of the present turn
}

// Add turns by part of a turn (≥ 0) within the h seconds that end at now (s).
func (t *Turns) Add(part, h, now float64) {
	t.part += part
	if t.part >= 1 {
		whole := math.Floor(t.part)
		t.Whole += uint32(whole)
		t.part -= whole
		t.At = now - h*t.part/part
	}
}

// Restart completes a turn at now (s) without a beginning: what turned before
// is not known, and a counter that stands would be read as standing still.
func (t *Turns) Restart(now float64) { t.Whole, t.part, t.At = t.Whole+1, 0, now }

// Ticks is a time (s) as a counter of 16 bits that wraps.
func Ticks(seconds, perSecond float64) uint16 {
	return uint16(uint64(math.Max(0, seconds) * perSecond))
}
