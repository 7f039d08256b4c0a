package bunch

import "sort"

// track is what is known of one member's way: the last report, and when they
// passed which place, for seconds between riders.
type track struct {
	name   string
	last   Sample
	points []passing // places do not fall
}

type passing struct {
	us int64
	m  float64
}

// How close together passings are kept, the most of them, and over which gap a
// time between two is still believed. Our judgement.
const (
	passEveryUS = 900_000
	mostPasses  = 16384
	mostGapUS   = 30_000_000
)

// take takes a report unless a newer one is known.
func (t *track) take(s Sample) {
	if s.AtUS < t.last.AtUS {
		return
	}
	t.last = s
	if s.BegunUS > 0 && len(t.points) == 0 {
		t.points = append(t.points, passing{s.BegunUS, 0})
	}
	n := len(t.points)
	if s.Stage == Waiting || n > 0 && (s.AtUS-t.points[n-1].us < passEveryUS || s.M <= t.points[n-1].m) {
		return
	}
	t.points = append(t.points, passing{s.AtUS, s.M})
	if len(t.points) > mostPasses {
		t.thin()
	}
}

// rewind forgets what lies in the future: of one's own way, after the host's
// clock was found to be earlier than was believed (its machine slept).
func (t *track) rewind(us int64) {
	for n := len(t.points); n > 0 && t.points[n-1].us > us; n-- {
		t.points = t.points[:n-1]
	}
	t.last.AtUS = min(t.last.AtUS, us)
}

// thin leaves out every second of the older half.
func (t *track) thin() {
	half := len(t.points) / 2
	kept := t.points[:0]
	for i, p := range t.points {
		if i >= half || i%2 == 0 {
			kept = append(kept, p)
		}
	}
	t.points = kept
}

// passed is when a member was at a place, µs of the host's clock, given where
// they are reckoned to be now. False: not known.
func (t *track) passed(m float64, nowUS int64, nowM float64) (us int64, ok bool) {
	n := len(t.points)
	i := sort.Search(n, func(i int) bool { return t.points[i].m >= m })
	at := func(i int) passing {
		switch {
		case i < n:
			return t.points[i]
		case i == n && (n == 0 || t.last.AtUS > t.points[n-1].us && t.last.M > t.points[n-1].m):
			return passing{t.last.AtUS, t.last.M}
		}
		return passing{nowUS, nowM}
	}
	for ; i <= n+1; i++ {
		b := at(i)
		if b.m < m {
			continue
		}
		if i == 0 {
			return b.us, b.m == m
		}
		a := at(i - 1)
		if b.us < a.us-passEveryUS || b.us-a.us > mostGapUS || b.m <= a.m {
			return 0, b.m == m && b.us >= a.us
		}
		return a.us + int64(float64(b.us-a.us)*(m-a.m)/(b.m-a.m)), true
	}
	return 0, false
}
