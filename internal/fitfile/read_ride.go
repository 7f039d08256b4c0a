package fitfile

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"sort"

	"chainline/recording"
)

const (
	beforeS = 600 // s a session may begin before its first record
	tooFar  = recording.MaxSeconds
)

// add makes rides of one scanned file and takes their losses.
func (a *activityReader) add(s *scan, whole bool) {
	fallback := s.created
	if len(s.sessions) > 0 {
		fallback = s.sessions[0].start
	}
	c := settle(s.times, fallback, s.hint)
	lost := c.losses()
	for i := range lost {
		if a.part > 1 {
			lost[i].Where = fmt.Sprintf("file %d of the chain, %s", a.part, lost[i].Where)
		}
	}
	a.losses = append(a.losses, lost...)
	if s.records > 0 && undated(s, fallback) {
		a.lose("", "the date is not in the file: its time stamps are missing or count from when the device was switched on")
	}
	if s.records > 0 && !s.zoned {
		a.lose("", "the local time is not in the file: times of day are those of UTC")
	}
	for _, r := range c.runs {
		for _, m := range s.split(c, r) {
			if len(a.rides) >= maxRides {
				a.lose("", "more than %d sessions: the rest is left out", maxRides)
				return
			}
			m.rec.Title, m.rec.ZoneSeconds, m.rec.Whole = a.title, s.zone, whole
			if n := len(a.rides); n > 0 {
				m.rec.Title = fmt.Sprintf("%s (%d)", a.title, n+1)
			}
			m.build()
			m.name()
			if m.repeated > 0 {
				a.lose("", "%d readings repeat an instant that has one already and are left out", m.repeated)
			}
			if m.beyond > 0 {
				a.lose("", "%d readings lie more than ten days behind the start and are left out", m.beyond)
			}
			if len(m.rec.Channels) == 0 {
				a.lose(fmt.Sprintf("session %d (%s)", m.number, m.rec.Sport), "nothing of a ride is recorded in it, it is left out")
				continue
			}
			if err := m.rec.Validate(); err != nil {
				a.lose(fmt.Sprintf("session %d", m.number), "it makes no recording: %v", err)
				continue
			}
			a.rides = append(a.rides, Ride{Recording: m.rec, Number: len(a.rides) + 1})
		}
	}
	if len(a.losses) > maxLosses {
		a.losses = a.losses[:maxLosses]
	}
}

// undated: below 0x10000000 a time stamp counts from when the device was
// switched on (the format's rule).
func undated(s *scan, fallback uint32) bool {
	for _, t := range s.times {
		if t != 0 {
			return t < 0x10000000
		}
	}
	return fallback < 0x10000000
}

// maker builds the recording of one session.
type maker struct {
	scan     *scan
	clock    *clock
	number   int
	from, to float64 // s since 1970, the records of this session: from <= time < to
	records  stretch
	rec      recording.Recording
	repeated int
	beyond   int
}

// split gives one maker for each session within a run of the clock. A record
// belongs to the last session that has begun, so that none is lost, whatever
// a session says of its end.
func (s *scan) split(c *clock, r stretch) []*maker {
	first, last := math.Inf(1), math.Inf(-1)
	for _, t := range c.at[r.from:r.to] {
		if !math.IsNaN(t) {
			first, last = math.Min(first, t), math.Max(last, t)
		}
	}
	if first > last {
		return nil
	}
	var sessions []fitSession
	for _, x := range s.sessions {
		if t := float64(x.start) + fitEpoch; t >= first-beforeS && t <= last {
			sessions = append(sessions, x)
		}
	}
	slices.SortStableFunc(sessions, func(x, y fitSession) int { return cmp.Compare(x.start, y.start) })
	sessions = slices.CompactFunc(sessions, func(x, y fitSession) bool { return x.start == y.start })
	if len(sessions) == 0 {
		sessions = []fitSession{{start: uint32(max(0, first-fitEpoch)), sport: s.sport}}
	}
	out := make([]*maker, len(sessions))
	for i, x := range sessions {
		m := &maker{scan: s, clock: c, number: i + 1, from: float64(x.start) + fitEpoch, to: math.Inf(1), records: r}
		if i == 0 {
			m.from = math.Min(first, m.from)
			if s.own { // its records stand at the end of the second they speak of
				m.from = math.Min(first-1, m.from)
			}
		}
		if i+1 < len(sessions) {
			m.to = float64(sessions[i+1].start) + fitEpoch
		}
		m.rec.StartUnix, m.rec.Sport = m.from, cmpText(x.sport, s.sport)
		out[i] = m
	}
	return out
}

// name says cycling of a kind that the file does not tell: on the road where
// there are places.
func (m *maker) name() {
	switch _, placed := m.rec.Signal(recording.Latitude, ""); {
	case m.rec.Sport == "":
		m.rec.Sport = "unknown"
	case m.rec.Sport == cycling && placed:
		m.rec.Sport = "road cycling"
	}
}

// state tells what is read off at an instant from what is a mean over time.
func state(q recording.Quantity) bool {
	switch q {
	case recording.Position, recording.Altitude, recording.Latitude, recording.Longitude:
		return true
	}
	return false
}

func (m *maker) build() {
	power := m.scan.powerSource()
	for in := range m.scan.in {
		source := "recorded"
		switch {
		case quantities[in] == recording.Power || quantities[in] == recording.LeftShare:
			source = power
		case power == "trainer" && (quantities[in] == recording.Speed || quantities[in] == recording.Position):
			source = power
		}
		m.channel(quantities[in], source, &m.scan.in[in])
	}
	for _, k := range m.scan.devOrder {
		if d := m.scan.developers[k]; d.values != nil {
			m.channel(d.quantity, m.free(d.quantity, d.source), d.values)
		}
	}
	m.beats()
	m.rec.Used = map[recording.Quantity]string{}
	for _, c := range m.rec.Channels {
		if _, ok := m.rec.Used[c.Quantity]; !ok {
			m.rec.Used[c.Quantity] = c.Source
		}
	}
	for _, c := range m.rec.Channels {
		if c.Quantity == recording.Power && c.Source == "as ridden" && m.scan.own {
			m.rec.Used[recording.Power] = c.Source
		}
	}
	m.marks()
}

// free gives a name that no channel of the quantity has.
func (m *maker) free(q recording.Quantity, source string) string {
	name := source
	for n := 2; ; n++ {
		taken := slices.ContainsFunc(m.rec.Channels, func(c recording.Channel) bool { return c.Quantity == q && c.Source == name })
		if !taken {
			return name
		}
		name = fmt.Sprintf("%s %d", source, n)
	}
}

// channel takes those of a field's values that fall into the session.
func (m *maker) channel(q recording.Quantity, source string, s *series) {
	back := 0.0
	if m.scan.own && !state(q) {
		back = 1
	}
	lo, hi := sort.Search(len(s.record), func(i int) bool { return int(s.record[i]) >= m.records.from }),
		sort.Search(len(s.record), func(i int) bool { return int(s.record[i]) >= m.records.to })
	c := recording.Channel{Quantity: q, Source: source, Seconds: make([]float64, 0, hi-lo), Values: make([]float64, 0, hi-lo)}
	sorted, last := true, math.Inf(-1)
	for i := lo; i < hi; i++ {
		t := m.clock.at[s.record[i]]
		if !(t >= m.from && t < m.to) {
			continue
		}
		at := math.Max(0, t-back-m.from)
		if at > tooFar {
			m.beyond++
			continue
		}
		sorted = sorted && at > last
		last = at
		c.Seconds, c.Values = append(c.Seconds, at), append(c.Values, s.value[i])
	}
	if !sorted {
		m.repeated += order(&c)
	}
	if len(c.Seconds) > 0 {
		m.rec.Channels = append(m.rec.Channels, c)
	}
}

// order sorts readings by time; of several of one instant the first stays.
// It returns how many went.
func order(c *recording.Channel) int {
	index := make([]int, len(c.Seconds))
	for i := range index {
		index[i] = i
	}
	slices.SortStableFunc(index, func(a, b int) int { return cmp.Compare(c.Seconds[a], c.Seconds[b]) })
	seconds, values := make([]float64, 0, len(index)), make([]float64, 0, len(index))
	for _, i := range index {
		if n := len(seconds); n > 0 && seconds[n-1] == c.Seconds[i] {
			continue
		}
		seconds, values = append(seconds, c.Seconds[i]), append(values, c.Values[i])
	}
	gone := len(c.Seconds) - len(seconds)
	c.Seconds, c.Values = seconds, values
	return gone
}

// beats stand at the record they came behind, each further one of it a
// microsecond later.
func (m *maker) beats() {
	c := recording.Channel{Quantity: recording.RRInterval, Source: "recorded"}
	last := math.Inf(-1)
	for _, b := range m.scan.beats {
		at := m.from
		if b.record >= m.records.from && b.record < m.records.to {
			at = m.clock.at[b.record]
		} else if b.record >= 0 || m.records.from > 0 {
			continue
		}
		if !(at >= m.from && at < m.to) {
			continue
		}
		s := math.Max(at-m.from, last+1e-6)
		if s > tooFar {
			continue
		}
		c.Seconds, c.Values = append(c.Seconds, s), append(c.Values, b.value)
		last = s
	}
	if len(c.Seconds) > 0 {
		m.rec.Channels = append(m.rec.Channels, c)
	}
}

// marks are laps, pauses and what was put right.
func (m *maker) marks() {
	end := m.rec.End()
	var out []recording.Mark
	add := func(unix float64, kind recording.MarkKind, words string) {
		if s := unix - m.from; s >= 0 && s <= end && len(out) < maxMarks {
			out = append(out, recording.Mark{Seconds: s, Kind: kind, Words: words})
		}
	}
	laps := slices.Clone(m.scan.laps)
	slices.Sort(laps)
	for _, t := range slices.Compact(laps) {
		if u := float64(t) + fitEpoch; u > m.from && u < m.to {
			add(u, recording.Lap, "")
		}
	}
	m.pauses(add, end)
	if m.scan.own {
		// The last mean stands up to here, not only from its beginning.
		out = append(out, recording.Mark{Seconds: min(m.lastRecord()-m.from, tooFar), Kind: recording.Note, Words: "end of the file"})
	}
	for _, r := range m.clock.repaired {
		if r.from < m.records.from || r.to > m.records.to {
			continue
		}
		from, to := m.clock.at[r.from], m.clock.at[r.to-1]
		if from >= m.from && to < m.to {
			add(from, recording.Assumed, "the time stamps of the file are missing or impossible here")
			add(to, recording.Measured, "")
		}
	}
	if !m.rec.Whole {
		add(m.from+end, recording.Note, "the file is damaged or cut short: this is what could be read")
	}
	slices.SortStableFunc(out, func(x, y recording.Mark) int { return cmp.Compare(x.Seconds, y.Seconds) })
	m.rec.Marks = out
}

// lastRecord is when the session's last record was, s since 1970.
func (m *maker) lastRecord() float64 {
	last := m.from
	for _, t := range m.clock.at[m.records.from:m.records.to] {
		if t >= m.from && t < m.to {
			last = math.Max(last, t)
		}
	}
	return last
}

// pauses are stretches in which the device's timer stood. A stop without a
// start after it is the end of the ride.
func (m *maker) pauses(add func(float64, recording.MarkKind, string), end float64) {
	events := slices.Clone(m.scan.timer)
	slices.SortStableFunc(events, func(x, y timerEvent) int { return cmp.Compare(x.at, y.at) })
	stopped := math.NaN()
	for _, e := range events {
		at := float64(e.at) + fitEpoch
		if at < m.from || at >= m.to || at > m.from+end+1 {
			continue
		}
		switch {
		case e.stop && math.IsNaN(stopped):
			stopped = at
		case !e.stop && !math.IsNaN(stopped):
			if at > stopped {
				add(stopped, recording.Pause, "the device's timer was stopped")
				add(math.Min(at, m.from+end), recording.Resume, "")
			}
			stopped = math.NaN()
		}
	}
}
