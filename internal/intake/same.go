package intake

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"math"
	"slices"

	"chainline/recording"
)

// Relation is how two recordings stand to each other.
type Relation int

// The relations.
const (
	Different     Relation = iota // two rides
	SameRecording                 // one recording in two files: another export of it, or a copy
	AnotherDevice                 // one ride, recorded by two devices
)

// String is the relation in words.
func (r Relation) String() string {
	switch r {
	case SameRecording:
		return "the same recording"
	case AnotherDevice:
		return "the same ride, another device"
	}
	return "another ride"
}

// Fingerprint tells recordings apart by what they hold, not by the file they
// came in: what was measured in whole units at whole seconds. Two that have the
// same are the same; two exports of one ride may still differ in rounding,
// which is Same's to judge.
func Fingerprint(r *recording.Recording) string {
	h := sha256.New()
	for _, q := range []recording.Quantity{recording.Power, recording.HeartRate, recording.Cadence} {
		c, ok := r.Signal(q, "")
		if !ok {
			continue
		}
		_, _ = h.Write([]byte(q))
		buffer := make([]byte, 0, 12*len(c.Values))
		for i, v := range c.Values {
			buffer = binary.LittleEndian.AppendUint64(buffer, uint64(int64(math.Round(r.StartUnix+c.Seconds[i]))))
			buffer = binary.LittleEndian.AppendUint32(buffer, uint32(int32(math.Round(v))))
		}
		_, _ = h.Write(buffer)
	}
	if len(r.Sources(recording.Power))+len(r.Sources(recording.HeartRate))+len(r.Sources(recording.Cadence)) == 0 {
		for _, c := range r.Channels {
			_, _ = h.Write([]byte(c.Quantity))
			for i, v := range c.Values {
				_ = binary.Write(h, binary.LittleEndian, [2]float64{r.StartUnix + c.Seconds[i], v})
			}
		}
	}
	return hex.EncodeToString(h.Sum(nil)[:16])
}

// What Same holds two recordings against; our judgement.
const (
	startsApart = 300 // s between the starts of two devices on one ride
	lagMost     = 20  // s their clocks may differ
	shared      = 60  // values that must be known in both to say anything
	judgedAt    = 1200
)

// judged are the quantities compared, with the difference that rounding and
// another way of sampling can make (export) and that two devices on one rider
// make (device; 0: it says nothing alone).
var judged = []struct {
	quantity       recording.Quantity
	export, device float64
}{
	{recording.Power, 1.01, 0},
	{recording.HeartRate, 1.01, 3},
	{recording.Cadence, 1.01, 2},
	{recording.Altitude, 1.01, 0},
	{recording.Latitude, 3e-5, 3e-4},
	{recording.Longitude, 3e-5, 4e-4},
}

// Same judges whether two recordings are of one ride. They must begin within
// five minutes of each other and overlap for most of the shorter one. It is
// one recording when everything both hold agrees to the rounding in 95 of 100
// seconds, at one shift of the clock; it is one ride of two devices when a
// quantity that belongs to the rider alone (heart rate, cadence, place) agrees
// as closely as two devices do, and power, if both have it, moves along.
func Same(a, b *recording.Recording) Relation {
	if math.Abs(a.StartUnix-b.StartUnix) > startsApart {
		return Different
	}
	endA, endB := a.StartUnix+a.End(), b.StartUnix+b.End()
	overlap := math.Min(endA, endB) - math.Max(a.StartUnix, b.StartUnix)
	if overlap < 0.7*math.Min(a.End(), b.End()) || overlap < shared {
		return Different
	}
	base := math.Floor(math.Min(a.StartUnix, b.StartUnix))
	ga, gb := gridsOf(a, base), gridsOf(b, base)
	best := Different
	for _, lag := range lags() {
		switch compare(ga, gb, lag) {
		case SameRecording:
			if overlap >= 0.95*math.Max(a.End(), b.End())-5 || whole(a) != whole(b) {
				return SameRecording
			}
			best = AnotherDevice
		case AnotherDevice:
			best = AnotherDevice
		}
	}
	return best
}

// whole: of a file that was cut short the rest may be a copy of the other's.
func whole(r *recording.Recording) bool { return r.Whole }

// lags are the shifts tried, the small ones first.
func lags() []int {
	out := []int{0}
	for n := 1; n <= lagMost; n++ {
		out = append(out, n, -n)
	}
	return out
}

// gridsOf has each judged quantity at whole seconds from base, NaN where it is
// not known.
func gridsOf(r *recording.Recording, base float64) [][]float64 {
	out := make([][]float64, len(judged))
	n := int(r.StartUnix-base+r.End()) + 2
	for k, j := range judged {
		c, ok := r.Signal(j.quantity, "")
		if !ok || n > recording.MaxSeconds+1000 {
			continue
		}
		grid := make([]float64, n)
		for i := range grid {
			grid[i] = math.NaN()
		}
		for i, s := range c.Seconds {
			if at := int(math.Round(r.StartUnix + s - base)); at >= 0 && at < n {
				grid[at] = c.Values[i]
			}
		}
		out[k] = grid
	}
	return out
}

func compare(a, b [][]float64, lag int) Relation {
	exports, compared, close, along := true, false, false, true
	for k, j := range judged {
		if a[k] == nil || b[k] == nil {
			continue
		}
		x, y := pairs(a[k], b[k], lag)
		if len(x) < shared {
			continue
		}
		compared = true
		differ := make([]float64, len(x))
		within := 0
		for i := range x {
			differ[i] = math.Abs(x[i] - y[i])
			if differ[i] <= j.export {
				within++
			}
		}
		slices.Sort(differ)
		if float64(within) < 0.95*float64(len(x)) {
			exports = false
		}
		varied := spread(x) > 3*j.device
		switch {
		case j.device > 0 && varied && differ[len(differ)/2] <= j.device:
			close = true
		case j.device > 0 && varied && differ[len(differ)/2] > 3*j.device:
			along = false
		case j.quantity == recording.Power && spread(x) > 20 && correlation(x, y) < 0.6:
			along = false
		}
	}
	switch {
	case compared && exports && lag >= -2 && lag <= 2:
		return SameRecording
	case compared && close && along:
		return AnotherDevice
	}
	return Different
}

// pairs are the values known in both, at most about judgedAt of them, evenly
// over the ride.
func pairs(a, b []float64, lag int) (x, y []float64) {
	for i := 0; i < len(a); i += 1 + len(a)/judgedAt {
		v := a[i]
		if j := i + lag; j >= 0 && j < len(b) && !math.IsNaN(v) && !math.IsNaN(b[j]) {
			x, y = append(x, v), append(y, b[j])
		}
	}
	return x, y
}

// spread is the range of the middle nine tenths.
func spread(x []float64) float64 {
	s := slices.Clone(x)
	slices.Sort(s)
	return s[len(s)*95/100] - s[len(s)*5/100]
}

func correlation(x, y []float64) float64 {
	n := float64(len(x))
	var sx, sy float64
	for i := range x {
		sx, sy = sx+x[i], sy+y[i]
	}
	var xx, yy, xy float64
	for i := range x {
		dx, dy := x[i]-sx/n, y[i]-sy/n
		xx, yy, xy = xx+dx*dx, yy+dy*dy, xy+dx*dy
	}
	return xy / math.Sqrt(xx*yy)
}
