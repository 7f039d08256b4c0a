package rig

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"chainline/estimate"
	"chainline/recording"
)

// Radio is how well the messages of one device arrived.
type Radio struct {
	Source     string
	Due, Lost  int     // messages; those due while devices may rest are not counted
	Every      float64 // s between messages as a rule
	Longest    float64 // s, the longest silence
	JitterSD   float64 // s about the even rhythm
	Duplicates int     // messages that came twice
	Early      float64 // share lost in the first half of the ride
	Late       float64 // and in the second
	lostAt     []float64
	burst      float64 // how much more the number lost scatters than that of single losses
}

// Share is the fraction lost.
func (r Radio) Share() float64 { return float64(r.Lost) / float64(max(1, r.Due)) }

// limits is Wilson's interval of the fraction lost at a normal quantile z,
// with as many messages as count when losses come in bursts.
func (r Radio) limits(z float64) (low, high float64) {
	return wilson(float64(r.Lost)/r.burst, float64(r.Due)/r.burst, z)
}

// wilson is the interval of k of n.
func wilson(k, n, z float64) (low, high float64) { return estimate.Wilson(k/n, n, z) }

// RadioOf is how the messages of each device arrived, in the order in which
// the recording names them. Its channel with the most readings speaks for a
// device.
func RadioOf(in CheckInput) []Radio {
	if in.Recording == nil {
		return nil
	}
	return newLook(in, &Report{}).radios()
}

func (l *look) radios() []Radio {
	sent := []recording.Quantity{recording.Power, recording.Cadence, recording.WheelSpeed, recording.MachineSpeed, recording.HeartRate}
	best := map[string]recording.Channel{}
	var order []string
	for _, c := range l.in.Recording.Channels {
		if c.Source == "ride" || !slices.Contains(sent, c.Quantity) || len(c.Seconds) < 30 {
			continue
		}
		if have, ok := best[c.Source]; !ok || len(c.Seconds) > len(have.Seconds) {
			if !ok {
				order = append(order, c.Source)
			}
			best[c.Source] = c
		}
	}
	var out []Radio
	for _, source := range order {
		out = append(out, l.radio(best[source]))
	}
	return out
}

func (l *look) radio(c recording.Channel) Radio {
	r := Radio{Source: c.Source, Every: rhythm(c.Seconds), burst: 1}
	stops := l.stops()
	half := (c.Seconds[0] + c.Seconds[len(c.Seconds)-1]) / 2
	var halves [2][2]float64 // lost and due
	var off []float64
	squares := 0.0
	for i := 1; i < len(c.Seconds); i++ {
		from, to := c.Seconds[i-1], c.Seconds[i]
		gap := to - from
		if gap < 0.3*r.Every && c.Values[i] == c.Values[i-1] {
			r.Duplicates++
			continue
		}
		if within(stops, (from+to)/2) || within(stops, from) || l.sleeps(c, from, gap) {
			continue
		}
		lost := max(0, int(math.Round(gap/r.Every))-1)
		if gap < 1.6*r.Every {
			lost = 0
			off = append(off, gap-r.Every)
		}
		r.Due += 1 + lost
		r.Lost += lost
		r.Longest = max(r.Longest, gap)
		squares += float64(lost * lost)
		h := 0
		if from > half {
			h = 1
		}
		halves[h][0] += float64(lost)
		halves[h][1] += float64(1 + lost)
		for k := range lost {
			r.lostAt = append(r.lostAt, from+float64(k+1)*r.Every)
		}
	}
	_, sd := meanSD(off)
	r.JitterSD = sd / math.Sqrt2 // the difference of two arrivals
	r.Early, r.Late = halves[0][0]/max(1, halves[0][1]), halves[1][0]/max(1, halves[1][1])
	if r.Lost > 0 {
		p, run := r.Share(), squares/float64(r.Lost)
		single := (1 + p) / (1 - p) // of losses that have nothing to do with each other
		if r.burst = max(1, run/single); run > 1.6*single {
			r.burst = run * (1 - p) // of a radio that is now good, now bad
		}
	}
	return r
}

// sleeps tells whether a device may be silent because its rider stands still.
func (l *look) sleeps(c recording.Channel, from, gap float64) bool {
	if c.Quantity == recording.HeartRate || gap < 5 {
		return false
	}
	cad, known := l.cadence.at(from)
	return known && cad == 0
}

const (
	leastDue     = 120   // messages before a share is judged, our judgement
	tolerated    = 0.003 // share lost that a healthy radio may lose, our judgement
	radioZ       = 3.3   // one-sided chance 5e-4 that a healthy radio is accused
	atOnce       = 0.2   // correlation of lost seconds above which two devices fail at once, our judgement
	remedyOrigin = "common practice"
)

func radioRemedies() []string {
	return []string{
		"switch off or carry away other radios near the rig: phones, tablets, wireless sound, a router (common practice)",
		"bring the receiver nearer, into sight of the sensor, with a cable if need be (common practice)",
		"put a fresh battery into the sensor (common practice)",
		"look whether the maker has newer firmware (common practice)",
	}
}

// examineRadio tells one fading device from all failing together.
func (l *look) examineRadio() {
	var judged, losing []Radio
	for _, r := range l.radios() {
		if r.Due < leastDue {
			l.unsaid(LostSamples, r.Source, fmt.Sprintf("only %d messages were due; %d are needed", r.Due, leastDue))
			continue
		}
		judged = append(judged, r)
		if low, _ := r.limits(radioZ); low > tolerated/2 && r.Lost >= 4 {
			losing = append(losing, r)
		}
	}
	if len(judged) > 0 {
		l.right(LostSamples)
	}
	if len(judged) < 2 {
		l.unsaid(Interference, "", "fewer than two devices sent enough to tell one failing from all failing")
	} else {
		l.right(Interference)
		l.right(Fading)
	}
	if all := together(judged, losing); len(judged) >= 2 && all != nil {
		l.interference(all)
		losing = slices.DeleteFunc(losing, func(r Radio) bool { return r.Share() < 3*all.Share() })
	}
	for _, r := range losing {
		if low, _ := r.limits(radioZ); low > tolerated {
			l.losing(r, len(judged))
		}
	}
}

// together is all devices as one when they fail together: every one of them
// loses, about as much, or at the same instants. Nil: they do not.
func together(judged, losing []Radio) *Radio {
	if len(losing) < 2 || len(losing) < len(judged) && coincidence(losing) < atOnce {
		return nil
	}
	least, most := 1.0, 0.0
	all := Radio{Source: "", burst: 1, Every: 1}
	for _, r := range losing {
		least, most = min(least, r.Share()), max(most, r.Share())
		all.Due += r.Due
		all.Lost += r.Lost
		all.Longest = max(all.Longest, r.Longest)
		all.lostAt = append(all.lostAt, r.lostAt...)
		all.burst = max(all.burst, r.burst)
	}
	slices.Sort(all.lostAt)
	c := coincidence(losing)
	if c < atOnce && least < 0.4*most {
		return nil
	}
	if c >= atOnce { // devices that fail at once are one witness, not several
		all.burst *= float64(len(losing))
	}
	if low, _ := all.limits(radioZ); low <= tolerated && !(c >= atOnce && all.Lost >= 20) {
		return nil
	}
	return &all
}

// coincidence is the correlation of the seconds in which the first two devices
// lose messages; 0 for fewer than three in common.
func coincidence(rs []Radio) float64 {
	if len(rs) < 2 {
		return 0
	}
	var lost [2]map[int]bool
	for k := range 2 {
		lost[k] = map[int]bool{}
		for _, t := range rs[k].lostAt {
			lost[k][int(t)] = true
		}
	}
	both := 0.0
	for s := range lost[0] {
		if lost[1][s] {
			both++
		}
	}
	if both < 3 {
		return 0
	}
	n := float64(rs[0].Due) * rs[0].Every
	p, q := float64(len(lost[0]))/n, float64(len(lost[1]))/n
	return (both/n - p*q) / math.Sqrt(p*(1-p)*q*(1-q))
}

func (l *look) interference(all *Radio) {
	low, high := all.limits(z95)
	share := all.Share()
	l.found(ranged(Finding{
		Subject: Interference,
		Sure:    0.999,
		What: fmt.Sprintf("All devices lose messages together, %.1f %% of them, the longest silence %.0f s: something disturbs the radio, not one sensor; the watts that arrive are not harmed.",
			100*share, all.Longest),
		Do:    radioRemedies(),
		Prior: remedyOrigin,
		Plot:  lossPlot("Messages of all devices lost", all.lostAt),
	}, share, low, high, "messages due and not come, all devices"))
}

func (l *look) losing(r Radio, judged int) {
	low, high := r.limits(z95)
	f := Finding{
		Subject: LostSamples, Source: r.Source, Sure: 0.999,
		What: fmt.Sprintf("%s loses %.1f %% of its messages, the longest silence %.0f s; the watts that arrive are not harmed, averages over short efforts are.",
			r.Source, 100*r.Share(), r.Longest),
		Do:   []string{"bring the receiver nearer, into sight of the sensor (common practice)", "put a fresh battery into the sensor (common practice)", "look whether the maker has newer firmware (common practice)"},
		Plot: lossPlot("Messages of "+r.Source+" lost", r.lostAt), Prior: remedyOrigin,
	}
	l.found(ranged(f, r.Share(), low, high, "messages due and not come"))
	weak := l.battery(r.Source)
	if judged < 2 || !(r.Late > 2*r.Early+0.01 || r.Longest >= 5*r.Every && r.burst > 2 || weak) {
		return
	}
	f.Subject = Fading
	f.What = fmt.Sprintf("%s alone fades: %.1f %% lost in the first half of the ride, %.1f %% in the second, while the other devices are heard.", r.Source, 100*r.Early, 100*r.Late)
	f.Do = []string{"put a fresh battery into the sensor (common practice)", "bring the receiver nearer, into sight of the sensor (common practice)", "look whether the maker has newer firmware (common practice)"}
	if weak {
		f.What = f.What[:len(f.What)-1] + "; its battery is low."
	}
	f.Sure = 0.99
	l.found(ranged(f, r.Share(), low, high, "messages due and not come"))
}

// battery tells whether a source's battery is known to be low.
func (l *look) battery(source string) bool {
	c, ok := l.in.Recording.Signal(recording.Battery, source)
	return ok && source != "" && len(c.Values) > 0 && c.Values[len(c.Values)-1] < 0.15
}

// lossPlot is the share lost in each minute.
func lossPlot(title string, at []float64) Plot {
	p := Plot{Title: title, X: "minutes", Y: "messages lost in the minute"}
	count := map[int]int{}
	last := 0
	for _, t := range at {
		count[int(t/60)]++
		last = max(last, int(t/60))
	}
	for m := 0; m <= last && m < mostPlotted; m++ {
		p.Points = append(p.Points, [2]float64{float64(m) + 0.5, float64(count[m])})
	}
	return p
}

func (l *look) examineFirmware() {
	if l.in.Firmware == nil {
		l.unsaid(FirmwareChange, "", "no earlier firmware of these devices is remembered")
		return
	}
	l.right(FirmwareChange)
	for _, device := range l.in.Firmware {
		l.found(Finding{
			Subject: FirmwareChange, Source: device, Sure: 1, Size: estimate.Exact(1, "as the device says"), Low95: 1, High95: 1,
			What: fmt.Sprintf("The firmware of %s changed since the last check: its watts may not be those of before.", strings.TrimSuffix(device, ".")),
			Do:   []string{"set its zero or spin it down again and take this check as the new first one (common practice)"}, Prior: remedyOrigin,
		})
	}
}

// Link is what round trips to a host show.
type Link struct {
	Rounds, Lost int
	Median, P95  float64 // s, of the whole way there and back
	Low, High    float64 // s, 95 % interval of the median, by order statistics
	Jitter       float64 // s, mean change from one round trip to the next
	Loss         float64 // fraction
}

// LinkOf needs at least 20 round trips.
func LinkOf(rounds []Round) (Link, error) {
	k := Link{Rounds: len(rounds)}
	var took []float64
	last := math.NaN()
	changes, n := 0.0, 0
	for _, r := range rounds {
		if !(r.Took >= 0) || math.IsInf(r.Took, 1) {
			k.Lost++
			continue
		}
		if !math.IsNaN(last) {
			changes += math.Abs(r.Took - last)
			n++
		}
		last = r.Took
		took = append(took, r.Took)
	}
	k.Loss = float64(k.Lost) / float64(max(1, k.Rounds))
	if k.Rounds < 20 {
		return k, fmt.Errorf("%d round trips to the host; at least 20 are needed", k.Rounds)
	}
	if len(took) < 10 {
		return k, fmt.Errorf("%d of %d round trips came back; at least 10 are needed", len(took), k.Rounds)
	}
	slices.Sort(took)
	k.Median, k.P95 = estimate.Quantile(took, 0.5), estimate.Quantile(took, 0.95)
	half := z95 * math.Sqrt(float64(len(took))) / 2
	mid := float64(len(took)-1) / 2
	k.Low = took[max(0, int(math.Floor(mid-half)))]
	k.High = took[min(len(took)-1, int(math.Ceil(mid+half)))]
	k.Jitter = changes / float64(n)
	return k, nil
}

// A link that an online ride does not notice, our judgement.
const (
	fineMedian = 0.12 // s
	fineP95    = 0.25
	fineLoss   = 0.01
)

func (l *look) examineLink() {
	if len(l.in.Rounds) == 0 {
		l.unsaid(LinkLatency, "", "no host was named, so no round trips were taken")
		return
	}
	k, err := LinkOf(l.in.Rounds)
	low, _ := wilson(float64(k.Lost), float64(k.Rounds), z95)
	switch {
	case err != nil && low < 0.2:
		l.unsaid(LinkLatency, "", err.Error())
		return
	case err == nil && k.Median <= fineMedian && k.P95 <= fineP95 && low <= fineLoss:
		l.right(LinkLatency)
		return
	}
	f := Finding{
		Subject: LinkLatency, Sure: 0.99, Prior: "our judgement of what an online ride does not notice: 120 ms, 250 ms for one in twenty, 1 % lost",
		What: fmt.Sprintf("The host answers after %.0f ms (one in twenty later than %.0f ms, changing by %.0f ms, %.1f %% lost): in an online ride others see you some %.1f m behind where you are at 36 km/h, and jumping when messages are lost; your watts are not harmed.",
			1000*k.Median, 1000*k.P95, 1000*k.Jitter, 100*k.Loss, 10*k.Median/2),
		Do: []string{"use a cable instead of the wireless network (common practice)", "stop downloads and films on the same line (common practice)", "choose a nearer host, where there is a choice (common practice)"},
	}
	f.Plot = Plot{Title: "Round trips", X: "seconds", Y: "milliseconds"}
	for i, r := range l.in.Rounds {
		if r.Took >= 0 && i < mostPlotted {
			f.Plot.Points = append(f.Plot.Points, [2]float64{r.Sent, 1000 * r.Took})
		}
	}
	l.found(ranged(f, k.Median, k.Low, k.High, "round trips to the host"))
}
