package rig

import "math"

// zeroRow is a stretch of five even seconds of two sources.
type zeroRow struct{ diff, against, omega, weight float64 }

// zeroByPair tells a zero that is off from an offset in watts and from a bias
// of cadence: a torque makes watts in proportion to cadence at any power. It
// reports the zero where it explains the difference at least as well as the
// others, and tells whether it does so clearly.
func (l *look) zeroByPair(p powerPair) (clearly bool) {
	if p.TwoClocks || l.cadence == nil || l.hasFound(TyreSlip) || l.hasFound(Smoothing) { // slip too is a difference of the two
		return false
	}
	rows := l.zeroRows(p)
	if len(rows) < 40 {
		return false
	}
	torque, sd, chiZero := fitTwo(rows, func(r zeroRow) float64 { return r.omega })
	_, _, chiOffset := fitTwo(rows, func(zeroRow) float64 { return 1 })
	_, _, chiCadence := fitTwo(rows, func(r zeroRow) float64 { return r.against * (r.omega/9.2 - 1) })
	rival := min(chiOffset, chiCadence)
	scale := max(1, chiZero/float64(len(rows)-2))
	sd = math.Hypot(sd*math.Sqrt(max(0.4, chiZero/float64(len(rows)-2))), 0.02)
	better := (rival - chiZero) / scale
	own := l.ownZero(p)
	if better < -6 && own >= 0 && chiOffset < chiCadence { // an offset in watts, which the zero phase shows too
		l.out.Findings = append(l.out.Findings[:own], l.out.Findings[own+1:]...)
		return false
	}
	if own >= 0 {
		return better > 6
	}
	if math.Abs(torque)-surely*sd < 0.15 || better < 0 {
		return false
	}
	l.right(ZeroOffset)
	source, against := l.named(p)
	if source != p.Source.Source {
		torque = -torque
	}
	f := l.zeroFinding(&track{source: source}, torque, sd, "two sources, over cadence")
	f.Against = against
	f.What = f.What[:len(f.What)-1] + ", or " + against + " as much too little."
	f.Readings = []string{"the zero of " + source + " is off", "or that of " + against + ", the other way"}
	f.Plot = Plot{Title: source + " less " + against, X: "rad/s of the cranks", Y: "W"}
	for _, r := range rows {
		if len(f.Plot.Points) < mostPlotted {
			f.Plot.Points = append(f.Plot.Points, [2]float64{r.omega, r.diff})
		}
	}
	l.found(f)
	return better > 6
}

// named puts the source first that has a torque to be off: the one at the
// crank, or else the pair's first.
func (l *look) named(p powerPair) (source, against string) {
	a, b := p.Source.Source, p.Against.Source
	if !before(l.kindOf(a)) && before(l.kindOf(b)) {
		return b, a
	}
	return a, b
}

// ownZero is the index of a finding that one of the pair's zeros is off; -1: none.
func (l *look) ownZero(p powerPair) int {
	for i, f := range l.out.Findings {
		if f.Subject == ZeroOffset && f.Against == "" && (f.Source == p.Source.Source || f.Source == p.Against.Source) {
			return i
		}
	}
	return -1
}

func (l *look) zeroRows(p powerPair) []zeroRow {
	const long = 5.0
	a, b := newTrack(p.Source), newTrack(p.Against)
	end := l.in.Recording.End()
	zero := l.phases(Zero)
	var rows []zeroRow
	for from := warmAfter * 60; from+long < end; from += long {
		c, n := l.cadence.mean(from-2, from+long)
		early, _ := l.cadence.mean(from-2, from+1)
		late, _ := l.cadence.mean(from+long-3, from+long)
		x, i := a.mean(from, from+long)
		y, j := b.mean(from, from+long)
		y1, _ := b.mean(from-1.5, from+1.5)
		y2, _ := b.mean(from+long-1.5, from+long)
		if n < 3 || i < 3 || j < 3 || c < 30 || math.Abs(early-late) > 4 || x == 0 && y == 0 || math.Abs(y1-y2) > 0.12*y+6 {
			continue
		}
		free := within(zero, from) && within(zero, from+long)
		if !free && (x < 30 || y < 30) || free && max(x, y) < 1 {
			continue
		}
		sigma := math.Hypot(0.02*max(x, y), 0.5)
		rows = append(rows, zeroRow{x - y, y, c * math.Pi / 30, 1 / (sigma * sigma)})
	}
	return rows
}

// fitTwo fits diff = g·against + k·what(row) by weighted least squares: k, its
// standard deviation for the weights given, and chi².
func fitTwo(rows []zeroRow, what func(zeroRow) float64) (k, sd, chi float64) {
	var bb, bx, xx, by, xy float64
	for _, r := range rows {
		x := what(r)
		bb += r.weight * r.against * r.against
		bx += r.weight * r.against * x
		xx += r.weight * x * x
		by += r.weight * r.against * r.diff
		xy += r.weight * x * r.diff
	}
	det := bb*xx - bx*bx
	if det <= 0 {
		return 0, math.Inf(1), math.Inf(1)
	}
	g := (by*xx - bx*xy) / det
	k = (bb*xy - bx*by) / det
	for _, r := range rows {
		e := r.diff - g*r.against - k*what(r)
		chi += r.weight * e * e
	}
	return k, math.Sqrt(bb / det), chi
}
