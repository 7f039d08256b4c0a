package debrief

import (
	"fmt"
	"math"
	"slices"

	"chainline/capacity"
	"chainline/course"
	"chainline/recording"
)

// seconds is a recording second by second; NaN is a gap. Second i runs from i
// to i+1 since the recording's start; places are those at its end.
type seconds struct {
	paused                                                  []bool
	watts, heart, cadence, position, altitude, speed, asked []float64
	brought                                                 []float64 // m of position so far that a group's host gave
}

// longest is the longest ride that is measured, s: as long as a recording may
// be, which bounds the memory taken.
const longest = recording.MaxSeconds

// read is the recording every second; the error says why it cannot be used.
func read(r *recording.Recording, source string) (*seconds, error) {
	if end := r.End(); end > longest {
		return nil, fmt.Errorf("the recording takes %.0f s; expected at most %.0f s", end, longest)
	}
	t, err := r.Rows(1)
	if err != nil {
		return nil, err
	}
	n := len(t.Seconds)
	if n == 0 {
		return nil, fmt.Errorf("nothing is recorded: no reading and no mark after the start")
	}
	column := func(q recording.Quantity) []float64 {
		if v := t.Column(q); v != nil {
			return v
		}
		return slices.Repeat([]float64{math.NaN()}, n)
	}
	s := &seconds{paused: t.Paused, watts: column(recording.Power), heart: column(recording.HeartRate), cadence: column(recording.Cadence),
		position: column(recording.Position), altitude: column(recording.Altitude), speed: column(recording.Speed), asked: column(recording.Target),
		brought: column(recording.Brought)}
	if source != "" {
		if s.watts = named(t, source); s.watts == nil {
			return nil, fmt.Errorf("power: there is no source %q", source)
		}
	}
	s.mend()
	return s, nil
}

func named(t *recording.Table, source string) []float64 {
	for _, c := range t.Columns {
		if c.Quantity == recording.Power && c.Source == source {
			return c.Values
		}
	}
	return nil
}

// mend takes out what cannot be and what was measured in pauses, and makes
// places go on over short gaps and never back: a place that is not known is
// where one was last.
func (s *seconds) mend() {
	within(s.watts, -1e4, 1e4)
	within(s.asked, -1e4, 1e4)
	within(s.heart, 20, 300)
	within(s.cadence, 0, 400)
	within(s.position, 0, 1e7)
	within(s.altitude, -1e4, 1e4)
	within(s.brought, 0, 1e7)
	given := 0.0
	for i, m := range s.brought {
		if !math.IsNaN(m) {
			given = m
		}
		s.brought[i] = given
	}
	last := math.NaN()
	for i, m := range s.position {
		if math.IsNaN(m) || m < last {
			s.position[i] = last
		} else {
			last = m
		}
		if s.paused[i] {
			s.watts[i], s.heart[i], s.cadence[i] = math.NaN(), math.NaN(), math.NaN()
		}
	}
}

// within makes a gap of what is outside a range that nothing real is outside of.
func within(v []float64, least, most float64) {
	for i, x := range v {
		if !(x >= least && x <= most) {
			v[i] = math.NaN()
		}
	}
}

func (s *seconds) n() int { return len(s.watts) }

// filled is the power with nothing in gaps and pauses.
func (s *seconds) filled() []float64 {
	out := slices.Clone(s.watts)
	for i, w := range out {
		if math.IsNaN(w) {
			out[i] = 0
		}
	}
	return out
}

// mean is the mean of what is known, NaN if nothing is, and how many.
func mean(v []float64) (float64, int) {
	sum, n := 0.0, 0
	for _, x := range v {
		if !math.IsNaN(x) {
			sum += x
			n++
		}
	}
	return sum / float64(n), n
}

func largest(v []float64) float64 {
	most := math.NaN()
	for _, x := range v {
		if !math.IsNaN(x) && !(most >= x) {
			most = x
		}
	}
	return most
}

// stretch is what the seconds from … to−1 come to.
func (s *seconds) stretch(name string, from, to int, mass float64) Stretch {
	out := Stretch{Name: name, FromS: float64(from), ToS: float64(to)}
	for _, p := range s.paused[from:to] {
		if !p {
			out.MovingS++
		}
	}
	w, n := mean(s.watts[from:to])
	if n > 0 {
		out.KnownS, out.MeanW, out.WorkJ = float64(n), w, w*float64(n)
		out.MaxW = largest(s.watts[from:to])
		if mass > 0 {
			out.WPerKg = w / mass
		}
		out.EquivalentW = capacity.EquivalentPower(slices.DeleteFunc(slices.Clone(s.watts[from:to]), math.IsNaN))
	}
	heart, _ := mean(s.heart[from:to])
	out.MeanHeart, out.MaxHeart = known(heart), known(largest(s.heart[from:to]))
	turning, _ := mean(slices.DeleteFunc(slices.Clone(s.cadence[from:to]), func(x float64) bool { return !(x > 0) }))
	asked, _ := mean(s.asked[from:to])
	out.MeanCadence, out.AskedW = known(turning), known(asked)
	if to > from {
		begin := s.placeAt(from)
		out.FromM, out.ToM = known(begin), known(s.position[to-1])
		out.Speed = known((s.position[to-1] - begin - s.given(from, to)) / out.MovingS)
	}
	out.AscentM = s.ascent(from, to)
	return out
}

// placeAt is where one was at the beginning of a second.
func (s *seconds) placeAt(i int) float64 {
	if i == 0 {
		return 0
	}
	if m := s.position[i-1]; !math.IsNaN(m) {
		return m
	}
	return 0
}

// given is how far one was brought up within the seconds from … to−1.
func (s *seconds) given(from, to int) float64 {
	before := 0.0
	if from > 0 {
		before = s.brought[from-1]
	}
	return s.brought[to-1] - before
}

func (s *seconds) ascent(from, to int) float64 {
	up, last, at := 0.0, math.NaN(), from
	for i := from; i < to; i++ {
		z := s.altitude[i]
		if math.IsNaN(z) {
			continue
		}
		ridden := s.given(at, i+1) == 0
		if at = i + 1; z > last && ridden {
			up += z - last
		}
		last = z
	}
	return up
}

// laps are the stretches between the marks of laps, steps or cues; none if
// there are no such marks.
func (s *seconds) laps(r *recording.Recording, mass float64) []Stretch {
	var out []Stretch
	from, name := 0, ""
	add := func(to int) {
		if to > from {
			out = append(out, s.stretch(name, from, to, mass))
		}
	}
	for _, m := range r.Marks {
		if m.Kind == recording.Lap {
			at := min(s.n(), int(math.Round(m.Seconds)))
			add(at)
			from, name = max(from, at), m.Words
		}
	}
	if from == 0 && name == "" {
		return nil
	}
	add(s.n())
	return out
}

// profileStep is the least distance in m between points of a recorded
// profile.
const profileStep = 20.0

// profile is the course as given, or as the recorded altitudes have it.
func (s *seconds) profile(given *course.Profile) (course.Profile, bool) {
	if given != nil {
		return *given, true
	}
	var p course.Profile
	for i, m := range s.position {
		z := s.altitude[i]
		if math.IsNaN(m) || math.IsNaN(z) {
			continue
		}
		if k := len(p.Distance); k == 0 || m >= p.Distance[k-1]+profileStep {
			p.Distance, p.Elevation = append(p.Distance, m), append(p.Elevation, z)
		}
	}
	if len(p.Distance) < 2 || p.Distance[0] > 2*profileStep {
		return p, false
	}
	p.Distance[0] = 0
	return p, true
}

// climbs are those of the course that were ridden to the top.
func (s *seconds) climbs(p course.Profile, mass float64) []Stretch {
	var out []Stretch
	for _, c := range course.Climbs(p) {
		from, ok1 := s.passes(c.Start)
		to, ok2 := s.passes(c.Start + c.Length)
		if !ok1 || !ok2 || to <= from || s.given(from, to) > 0 {
			continue
		}
		x := s.stretch(fmt.Sprintf("climb of %.1f km at %.1f %%", c.Length/1000, 100*c.Mean), from, to, mass)
		x.FromM, x.ToM, x.AscentM = c.Start, c.Start+c.Length, c.Ascent
		if x.MovingS > 0 {
			x.AscentRate = c.Ascent / x.MovingS * 3600
		}
		out = append(out, x)
	}
	return out
}

// passes is the first second at whose beginning a place (m) is reached.
func (s *seconds) passes(m float64) (int, bool) {
	if m <= 0 {
		return 0, true
	}
	for i, x := range s.position {
		if x >= m-0.5 {
			return i + 1, true
		}
	}
	return 0, false
}

// powerSource is the name of what the power is from; empty if nothing was.
func powerSource(q MeasureRequest) string {
	if q.Source != "" {
		return q.Source
	}
	if names := q.Recording.Sources(recording.Power); len(names) > 0 {
		return names[0]
	}
	return ""
}
