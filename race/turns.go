package race

import "math"

// Who works, and who still is in the front group.

// choose gives a turn at the front to one of a group: the best leader of three
// picked at random among the willing, else whoever is in front.
func (f *field) choose(group []int32, t float64) {
	var willing [64]int32
	n := 0
	front := int32(-1)
	for _, id := range group {
		m := &f.riders[id]
		if m.ghost || t < m.start {
			continue
		}
		if front < 0 {
			front = id
		}
		if m.leads && !m.spent && m.w > 0.25*m.wPrime && n < len(willing) {
			willing[n] = id
			n++
		}
	}
	best := front
	if n > 0 {
		climbing := f.Way.sin[f.Way.at(f.riders[front].x)] > 0.02
		score := math.Inf(-1)
		for range 3 {
			id := willing[f.random.IntN(n)]
			s := f.riders[id].onFlat
			if climbing {
				s = f.riders[id].onClimb
			}
			if s > score {
				best, score = id, s
			}
		}
	}
	if best < 0 {
		return
	}
	m := &f.riders[best]
	tac := &f.Tactics
	m.pullEnds = t + tac.PullLeast + (tac.PullMost-tac.PullLeast)*f.random.Float64()
	m.effort = max(0.8, min(1.25, math.Exp(tac.Restless*f.random.NormFloat64())))
	if n == 0 {
		m.effort = 0.9
	}
	f.hunt(m, group, t)
}

// hunt sets how hard a group that is not the first works: closing what can be
// closed, settling when it cannot.
func (f *field) hunt(m *mover, group []int32, t float64) {
	m.chased = nil
	var ahead *mover // the last of the group ahead; ghosts are chased by nobody
	for _, id := range f.order[:len(f.order)-f.out] {
		if id == group[0] {
			break
		}
		if !f.riders[id].ghost {
			ahead = &f.riders[id]
		}
	}
	if ahead == nil || m.v < 1 {
		return
	}
	if (ahead.x-m.x)/m.v < f.Tactics.ChaseWithinS && m.w > kept*m.wPrime {
		m.chased = ahead
	} else {
		m.effort -= f.Tactics.Behind
	}
}

// retire moves the riders who are home behind the others.
func (f *field) retire(home int) {
	live := f.order[:len(f.order)-f.out]
	kept, done := live[:0:0], []int32{}
	for _, id := range live {
		if f.riders[id].x >= f.length {
			done = append(done, id)
			if !f.riders[id].ghost {
				f.insert(f.riders[id].finish)
			}
		} else {
			kept = append(kept, id)
		}
	}
	copy(live, append(kept, done...))
	f.out += home
}

func (f *field) insert(t float64) {
	i := len(f.firsts)
	f.firsts = append(f.firsts, t)
	for ; i > 0 && f.firsts[i-1] > t; i-- {
		f.firsts[i] = f.firsts[i-1]
	}
	f.firsts[i] = t
}

// front notes who rides within five seconds of the fifth.
func (f *field) front() {
	live := f.order[:len(f.order)-f.out]
	rank := fifth - 1 - len(f.firsts)
	if rank < 0 || len(live) == 0 {
		return
	}
	at := math.Inf(-1)
	last := math.Inf(-1)
	for _, id := range live {
		if m := &f.riders[id]; !m.ghost {
			last = m.x
			if rank == 0 {
				at = m.x
				break
			}
			rank--
		}
	}
	if math.IsInf(at, -1) {
		at = last
	}
	for _, id := range live {
		if m := &f.riders[id]; at-m.x <= frontS*max(m.v, 1) {
			m.lastFront = m.x
		}
	}
}
