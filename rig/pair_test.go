package rig

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"chainline/recording"
)

// twoMeters is a simulated check of 25 minutes: 12 easy, then steps of power
// and cadence of 70 s; each meter with 3 % of noise a second.
type twoMeters struct {
	gain, offset, delay, smooth, drift, cadence float64
	minutes                                     float64 // 0: 25
	level                                       bool    // one power all through
	every                                       [2]float64
	other                                       bool // the second meter in its own file
	clock, rate                                 float64
	spikes, stuck                               bool
}

func (m twoMeters) ride(r *rand.Rand) CheckInput {
	if m.minutes == 0 {
		m.minutes = 25
	}
	if m.every[0] == 0 {
		m.every = [2]float64{1, 0.25}
	}
	const dt = 0.05
	n := int(m.minutes * 60 / dt)
	watts, rpm, slow := make([]float64, n), make([]float64, n), make([]float64, n)
	level, sway, filter := 120.0, 0.0, 120.0
	for i := range n {
		s := float64(i) * dt
		target, cadence := 110+20*float64(int(s)/90%3), 85.0
		if s > 720 {
			k := int(s-720) / 70
			target, cadence = 100+float64(k*7%11)*15, 60+float64(k*5%9)*5
		}
		if m.level {
			target = 150
		}
		level += (target - level) * dt / 1.0
		sway += -sway*dt/2 + 0.04*math.Sqrt(dt)*r.NormFloat64()
		watts[i], rpm[i] = level*(1+sway), cadence
		x := watts[i]*(1+m.gain)*(1+m.drift*(1-math.Exp(-s/240)))/(1+m.drift)*(1+m.cadence*(cadence-80)/40) + m.offset
		if m.smooth > 0 {
			filter += (x - filter) * dt / m.smooth
			x = filter
		}
		slow[i] = x
	}
	a := sample("crank", watts, dt, m.every[0], 0, r)
	b := sample("pedals", slow, dt, m.every[1], m.delay, r)
	m.spoil(&b)
	c := sample("pedals", rpm, dt, 1, 0, rand.New(rand.NewPCG(1, 1)))
	c.Quantity = recording.Cadence
	in := CheckInput{Recording: &recording.Recording{Used: map[recording.Quantity]string{recording.Power: "pedals"}}, Threshold: 250,
		Side: map[string]SourceKind{"crank": SourceCrank, "pedals": SourcePedal}}
	in.Recording.Channels = []recording.Channel{b, c}
	if m.other {
		for i := range a.Seconds {
			a.Seconds[i] = a.Seconds[i]*(1+m.rate) + m.clock
		}
		in.Other = &recording.Recording{Channels: []recording.Channel{a}, Used: map[recording.Quantity]string{}}
	} else {
		in.Recording.Channels = append(in.Recording.Channels, a)
	}
	return in
}

func sample(source string, v []float64, dt, every, late float64, r *rand.Rand) recording.Channel {
	c := recording.Channel{Quantity: recording.Power, Source: source}
	per := int(math.Round(every / dt))
	for to := per; to <= len(v); to += per {
		mean := 0.0
		for _, x := range v[to-per : to] {
			mean += x / float64(per)
		}
		c.Seconds = append(c.Seconds, float64(to)*dt+late+0.02*r.Float64())
		c.Values = append(c.Values, math.Max(0, math.Round(mean*(1+0.03/math.Sqrt(every)*r.NormFloat64()))))
	}
	return c
}

func (m twoMeters) spoil(c *recording.Channel) {
	if m.spikes {
		for i := 500; i < len(c.Values); i += 600 {
			c.Values[i] += 700
		}
	}
	if m.stuck {
		for i, s := range c.Seconds {
			if s > 900 && s < 960 {
				c.Values[i] = 180
			}
		}
	}
}

func find(fs []Finding, s Subject) (Finding, bool) {
	for _, f := range fs {
		if f.Subject == s {
			return f, true
		}
	}
	return Finding{}, false
}

// Every fault is found with the right size among others' silence; all seeds
// are fixed. The rates are measured by the fault matrix.
func TestPairFindsFaults(t *testing.T) {
	for i, c := range []struct {
		m    twoMeters
		s    Subject
		size float64
	}{
		{twoMeters{gain: 0.02}, Gain, 0.02},
		{twoMeters{gain: -0.02, spikes: true, stuck: true}, Gain, -0.02},
		{twoMeters{offset: 6}, Offset, 6},
		{twoMeters{delay: 1}, Delay, 1 - 0.375},
		{twoMeters{delay: 1, every: [2]float64{1, 1}}, Delay, 1},
		{twoMeters{delay: 3, every: [2]float64{1, 1}}, Delay, 3},
		{twoMeters{smooth: 5}, Smoothing, 5},
		{twoMeters{drift: 0.04}, WarmUpDrift, 0.04},
		{twoMeters{cadence: -0.06}, CadenceBias, -0.06},
	} {
		fs, _ := ComparePairs(c.m.ride(rand.New(rand.NewPCG(uint64(i), 4))))
		f, ok := find(fs, c.s)
		if !ok || len(fs) != 1 {
			t.Errorf("%s %g: found %d, %+v", c.s, c.size, len(fs), fs)
			continue
		}
		if math.Abs(f.Size.Mean-c.size) > 3.5*f.Size.SD || f.Size.SD > 0.25*math.Abs(c.size) {
			t.Errorf("%s: %v ± %v (%v to %v), truth %v", c.s, f.Size.Mean, f.Size.SD, f.Low95, f.High95, c.size)
		}
		if f.Sure < 0.9 || f.What == "" || len(f.Do) == 0 || len(f.Plot.Points)+len(f.Plot.Lines) == 0 || len(f.Plot.Points) > 600 {
			t.Errorf("%s is told without chance, words or picture: %+v", c.s, f.Sure)
		}
	}
}

func TestPairHealthy(t *testing.T) {
	for i := range 12 {
		fs, us := ComparePairs(twoMeters{every: [2]float64{1, []float64{1, 0.25}[i%2]}}.ride(rand.New(rand.NewPCG(uint64(i), 5))))
		if len(fs) != 0 {
			t.Errorf("seed %d: %s of %v where nothing is wrong", i, fs[0].Subject, fs[0].Size.Mean)
		}
		if len(us) != 1 || us[0].Subject != OneSided {
			t.Errorf("seed %d: unsaid %+v", i, us)
		}
	}
}

// Across the drivetrain the published loss is carried, and both readings are
// given when more is missing.
func TestPairAcrossDrivetrain(t *testing.T) {
	in := twoMeters{gain: -0.024}.ride(rand.New(rand.NewPCG(1, 6)))
	in.Side["pedals"] = SourceHub
	if fs, _ := ComparePairs(in); len(fs) != 0 {
		t.Errorf("the usual loss is no fault: %+v", fs)
	}
	in = twoMeters{gain: -0.084}.ride(rand.New(rand.NewPCG(2, 6)))
	in.Side["pedals"] = SourceHub
	fs, _ := ComparePairs(in)
	f, ok := find(fs, Gain)
	if !ok || f.Low95 > -0.06 || f.High95 < -0.06 || len(f.Readings) != 2 || !strings.Contains(f.Prior, "2.4 ± 1 %") {
		t.Fatalf("6 %% beyond the drivetrain: %+v", fs)
	}
	if f.Size.SD < 0.01 {
		t.Errorf("sd %v is less than the loss's own doubt", f.Size.SD)
	}
	if !strings.Contains(f.Readings[0], "takes 8.") {
		t.Errorf("the reading as loss: %q", f.Readings[0])
	}
	in = twoMeters{gain: 0.087}.ride(rand.New(rand.NewPCG(3, 6)))
	in.Side["crank"] = SourceHub // now the one that shows more stands before the drivetrain
	fs, _ = ComparePairs(in)
	if f, ok = find(fs, Gain); !ok || !strings.Contains(f.Readings[0], "takes 8.") {
		t.Errorf("the reading as loss, from the front: %+v", fs)
	}
}

// Two files by two clocks are laid on one to a tenth of a second.
func TestPairTwoClocks(t *testing.T) {
	m := twoMeters{gain: 0.03, other: true, clock: 137.4, rate: 20e-6, every: [2]float64{1, 1}}
	in := m.ride(rand.New(rand.NewPCG(3, 7)))
	p := powerPairs(in)
	if len(p) != 1 || !p[0].TwoClocks {
		t.Fatalf("%+v", p)
	}
	a, b := soundSeries(p[0].Against), soundSeries(p[0].Source)
	late, rate, likeness := clocks(b, a)
	if likeness < 0.9 {
		t.Errorf("likeness %v", likeness)
	}
	a = a.moved(late, rate)
	lag := follow(b, a)
	for _, at := range []float64{100, 700, 1400} {
		// The instant `at` of this file, as the other's clock wrote it and as we set it.
		set := ((at*(1+m.rate)+m.clock)-late)*rate - lag.free
		near(t, "clock", set, at, 0.1)
	}
	fs, us := ComparePairs(in)
	if f, ok := find(fs, Gain); !ok || f.Low95 > 0.03 || f.High95 < 0.03 {
		t.Errorf("gain across files: %+v", fs)
	}
	said := false
	for _, u := range us {
		said = said || u.Subject == Delay && strings.Contains(u.Because, "different clocks")
	}
	if !said {
		t.Error("a delay across clocks cannot be said, and that is not said")
	}
}

// What cannot be judged is said, with the reason.
func TestPairCannotSay(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 8))
	strange := twoMeters{}.ride(r)
	stranger := twoMeters{minutes: 24}.ride(rand.New(rand.NewPCG(9, 9)))
	for i := range stranger.Recording.Channels[0].Values {
		stranger.Recording.Channels[0].Values[i] = 100 + 100*r.Float64()
	}
	strange.Other = stranger.Recording
	strange.Recording.Channels = strange.Recording.Channels[:2]
	for _, c := range []struct {
		in   CheckInput
		s    Subject
		want string
	}{
		{twoMeters{minutes: 5}.ride(r), Gain, "needs 360 s"},
		{twoMeters{minutes: 10}.ride(r), Gain, "while cold"},
		{twoMeters{minutes: 10}.ride(r), WarmUpDrift, "while cold"},
		{twoMeters{level: true}.ride(r), Offset, "too narrow"},
		{twoMeters{level: true, offset: 8}.ride(r), Gain, "too narrow"},
		{strange, Gain, "same ride"},
	} {
		fs, us := ComparePairs(c.in)
		if f, found := find(fs, c.s); found {
			t.Errorf("%s was told: %+v", c.s, f.Size)
		}
		why := ""
		for _, u := range us {
			if u.Subject == c.s {
				why = u.Because
			}
		}
		if !strings.Contains(why, c.want) {
			t.Errorf("%s: %q, want %q in it", c.s, why, c.want)
		}
	}
}

func TestOneSided(t *testing.T) {
	in := twoMeters{gain: 0.05}.ride(rand.New(rand.NewPCG(5, 8)))
	in.OnlyLeft = map[string]bool{"pedals": true}
	fs, us := ComparePairs(in)
	f, ok := find(fs, Gain)
	if !ok || len(f.Readings) != 1 || !strings.Contains(f.Readings[0], "52.5 %") {
		t.Errorf("a doubled leg is a reading of a gain: %+v", f.Readings)
	}
	if len(us) != 1 || !strings.Contains(us[0].Because, "one leg") {
		t.Errorf("%+v", us)
	}
	share := recording.Channel{Quantity: recording.LeftShare, Source: "crank"}
	r := rand.New(rand.NewPCG(5, 9))
	for i := range 1400 {
		share.Seconds, share.Values = append(share.Seconds, float64(i)), append(share.Values, 0.54+0.02*r.NormFloat64())
	}
	in.Recording.Channels = append(in.Recording.Channels, share)
	fs, _ = ComparePairs(in)
	if f, ok := find(fs, OneSided); !ok || f.Low95 > 0.04 || f.High95 < 0.04 {
		t.Errorf("54 %% left: %+v", f)
	}
}

// A difference that is only just told is said to be of a size known badly; one
// well beyond the cut is not.
func TestJustTold(t *testing.T) {
	j := &pairJudge{p: powerPair{Source: recording.Channel{Source: "a"}, Against: recording.Channel{Source: "b"}}, out: &compared{}}
	for sds, want := range map[float64]bool{3.8: true, 8: false} {
		chi := sds * sds
		if got := justTold(j.finding(Gain, 0.01*sds, 0.01, pairCost, chi, 0)); got != want {
			t.Errorf("%g standard deviations from nothing: %v", sds, got)
		}
	}
}
