package service

import (
	"slices"
	"strconv"
	"strings"
	"time"

	"chainline/internal/problem"
	"chainline/internal/sensor/bench"
)

// BenchFault is something that can be wrong with a simulated rig that is
// checked, in the words of the report.
type BenchFault struct {
	Name  string
	Unit  string // of its size: "%", "s", or "" for a number
	Usual float64
	Says  string
	apply func(c *bench.Config, size float64) bool // false: this rig cannot have it
}

// riding is when the steps of the guided check are ridden on the bench.
const riding = 14 * time.Minute

// BenchFaults are those that can be chosen, in the order they are listed.
var BenchFaults = []BenchFault{
	{"gain", "%", 4, "the power meter reads too high", func(c *bench.Config, size float64) bool {
		return withMeter(c, func(m *bench.Meter) { m.Unit.Bias = size / 100 })
	}},
	{"zero-offset", "N m", 2, "the power meter's zero is off", func(c *bench.Config, size float64) bool {
		return withMeter(c, func(m *bench.Meter) { m.Unit.Zero = size })
	}},
	{"delay", "s", 1, "the power meter's messages come late", func(c *bench.Config, size float64) bool {
		return c.Meter != nil && wrong(c, bench.Fault{Device: "meter", Kind: bench.Delay, Size: size})
	}},
	{"smoothing", "s", 5, "the power meter smooths in secret", func(c *bench.Config, size float64) bool {
		return withMeter(c, func(m *bench.Meter) { m.Unit.Smooth = seconds(size) })
	}},
	{"lost-samples", "%", 5, "messages of the power meter are lost", func(c *bench.Config, size float64) bool {
		device := "meter"
		if c.Meter == nil {
			device = "pace"
		}
		return wrong(c, bench.Fault{Device: device, Kind: bench.DropOut, Size: size / 100})
	}},
	{"stuck", "s", 60, "the power meter says the same for a while", func(c *bench.Config, size float64) bool {
		return c.Meter != nil && wrong(c, bench.Fault{At: riding + 3*time.Minute, For: seconds(size), Device: "meter", Kind: bench.Stuck})
	}},
	{"spikes", "", 3, "the power meter says what cannot be", func(c *bench.Config, size float64) bool {
		for i := range int(size) {
			wrong(c, bench.Fault{At: riding + time.Duration(i)*73*time.Second, For: 1100 * time.Millisecond, Device: "meter", Kind: bench.Spike, Size: 700})
		}
		return c.Meter != nil
	}},
	{"brake-lag", "s", 5, "the brake follows slowly", func(c *bench.Config, size float64) bool {
		return withTrainer(c, func(t *bench.Trainer) { t.Lag = seconds(size) })
	}},
	{"control-error", "%", 5, "the brake holds other watts than it was told", func(c *bench.Config, size float64) bool {
		return c.Trainer != nil && wrong(c, bench.Fault{Device: "trainer", Kind: bench.Scale, Size: 1 + size/100})
	}},
	{"ignored-commands", "s", 180, "the brake follows no command for a while", func(c *bench.Config, size float64) bool {
		return c.Trainer != nil && wrong(c, bench.Fault{At: riding, For: seconds(size), Device: "trainer", Kind: bench.IgnoresOrders})
	}},
	{"interference", "%", 5, "all devices lose messages together", func(c *bench.Config, size float64) bool {
		return wrong(c, bench.Fault{Kind: bench.DropOut, Size: size / 100})
	}},
	{"circumference", "%", 3, "the speed sensor is set to another wheel", func(c *bench.Config, size float64) bool {
		if c.Pace == nil {
			return false
		}
		pace := *c.Pace
		pace.Circumference /= 1 + size/100
		c.Pace = &pace
		return true
	}},
}

func seconds(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }

func wrong(c *bench.Config, f bench.Fault) bool {
	c.Faults = append(slices.Clip(c.Faults), f)
	return true
}

func withMeter(c *bench.Config, change func(*bench.Meter)) bool {
	if c.Meter == nil {
		return false
	}
	m := *c.Meter
	change(&m)
	c.Meter = &m
	return true
}

func withTrainer(c *bench.Config, change func(*bench.Trainer)) bool {
	if c.Trainer == nil {
		return false
	}
	t := *c.Trainer
	change(&t)
	c.Trainer = &t
	return true
}

// FaultNames are the names of BenchFaults.
func FaultNames() []string {
	var out []string
	for _, f := range BenchFaults {
		out = append(out, f.Name)
	}
	return out
}

// ChosenFaults reads faults as a person writes them, "gain" or "gain=2", and
// gives what changes a simulated rig so, with what was chosen in words.
func ChosenFaults(asked []string, plain bool) (change func(*bench.Config), words []string, err error) {
	type chosen struct {
		fault BenchFault
		size  float64
	}
	var all []chosen
	for _, a := range asked {
		name, text, sized := strings.Cut(strings.TrimSpace(a), "=")
		i := slices.IndexFunc(BenchFaults, func(f BenchFault) bool { return f.Name == name })
		if i < 0 {
			return nil, nil, problem.Bad("--fault: there is no fault %q; expected one of %s", name, strings.Join(FaultNames(), ", "))
		}
		f := BenchFaults[i]
		size := f.Usual
		if sized {
			size, err = strconv.ParseFloat(text, 64)
			if err != nil || !(size > -50 && size <= 600) || size == 0 || size < 0 && f.Unit != "%" {
				return nil, nil, problem.Bad("--fault: %s=%s; expected a size such as %s=%g (%s)", name, text, name, f.Usual, unitWords(f.Unit))
			}
		}
		try := bench.StandardRig(1)
		if plain {
			try = bench.PlainTrainer(1)
		}
		if !f.apply(&try, size) {
			return nil, nil, problem.Bad("--fault: this simulated rig cannot have the fault %s; expected another, or another rig", name)
		}
		all = append(all, chosen{f, size})
		words = append(words, strings.TrimSpace(f.Says+", "+strconv.FormatFloat(size, 'g', -1, 64)+" "+f.Unit))
	}
	return func(c *bench.Config) {
		for _, x := range all {
			x.fault.apply(c, x.size)
		}
	}, words, nil
}

func unitWords(u string) string {
	return map[string]string{"%": "percent", "s": "seconds", "N m": "newton metres", "": "a number"}[u]
}
