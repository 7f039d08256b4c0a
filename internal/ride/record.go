package ride

import (
	"encoding/json"
	"fmt"
	"strconv"
	"time"

	"chainline/internal/sensor"
)

// Records of the journal: one JSON object each, its kind under "k", seconds
// since the recording began under "t". docs/formats.md has every key.
//
//	setup    the Setup, first
//	r        a reading: d device, b service, q quantity, v value, x not ridden by
//	v        a value we reckoned: d source, q quantity, v value
//	c        a command that passed the gate: c kind, v value
//	m        a mark: m kind, d source, w words
//	s        the state, once a second: what a ride is gone on with from
//	plan     the cues, made anew
//	gun      the start was set
//	end      the ride was ended in order

func (c *Core) record(b []byte) { c.out.Records = append(c.out.Records, b) }

func mustJSON(v any) []byte {
	b, err := json.Marshal(v)
	if err != nil {
		panic("ride: a record that cannot be written: " + err.Error()) // NaN in a setup: checked before
	}
	return b
}

func recordSetup(s Setup) []byte {
	return mustJSON(struct {
		K     string `json:"k"`
		V     int    `json:"v"`
		Setup Setup  `json:"setup"`
	}{"setup", 1, s})
}

var quantities = map[sensor.Quantity]string{
	sensor.Power: "power", sensor.Cadence: "cadence", sensor.WheelSpeed: "wheel_speed", sensor.MachineSpeed: "machine_speed",
	sensor.HeartRate: "heart_rate", sensor.RRInterval: "rr_interval", sensor.LeftShare: "left_share", sensor.Resistance: "resistance",
	sensor.Battery: "battery",
}

func (c *Core) recordReading(r sensor.Reading, fits bool) []byte {
	b := make([]byte, 0, 96)
	b = append(b, `{"k":"r","t":`...)
	b = appendSeconds(b, c.seconds(r.At))
	b = append(b, `,"d":`...)
	b = strconv.AppendQuote(b, r.Device)
	b = append(b, `,"b":`...)
	b = strconv.AppendUint(b, uint64(r.By), 10)
	b = append(b, `,"q":"`...)
	b = append(b, quantities[r.Quantity]...)
	b = append(b, `","v":`...)
	b = strconv.AppendFloat(b, r.Value, 'g', -1, 64)
	if !fits {
		b = append(b, `,"x":true`...)
	}
	return append(b, '}')
}

func appendSeconds(b []byte, s float64) []byte { return strconv.AppendFloat(b, s, 'f', 3, 64) }

func recordValue(t float64, source, quantity string, v float64) []byte {
	return mustJSON(struct {
		K string  `json:"k"`
		T float64 `json:"t"`
		D string  `json:"d"`
		Q string  `json:"q"`
		V float64 `json:"v"`
	}{"v", round3(t), source, quantity, round3(v)})
}

func round3(v float64) float64 {
	r, _ := strconv.ParseFloat(strconv.FormatFloat(v, 'f', 3, 64), 64)
	return r
}

func (c *Core) recordCommand(m sensor.Command) []byte {
	kind, value := commandWords(m)
	return mustJSON(struct {
		K string  `json:"k"`
		T float64 `json:"t"`
		C string  `json:"c"`
		V float64 `json:"v"`
	}{"c", round3(c.seconds(c.now)), kind, value})
}

func commandWords(m sensor.Command) (kind string, value float64) {
	switch m.Kind {
	case sensor.TargetPower:
		return "power", m.Watts
	case sensor.TargetGradient:
		return "gradient", m.Gradient
	default:
		return "level", m.Level
	}
}

// markRecord is something that happened at one instant.
type markRecord struct {
	K string  `json:"k"`
	T float64 `json:"t"`
	M string  `json:"m"`
	D string  `json:"d,omitempty"`
	W string  `json:"w,omitempty"`
}

func (c *Core) mark(kind, source, words string) {
	c.record(mustJSON(markRecord{"m", round3(c.seconds(c.now)), kind, source, words}))
}

// state is what a ride is gone on with from.
type state struct {
	K        string     `json:"k"`
	T        float64    `json:"t"`
	Stage    Stage      `json:"stage"`
	Begun    float64    `json:"begun"` // s; meaningless while waiting
	Active   float64    `json:"active"`
	Watts    float64    `json:"watts"`
	State    PowerState `json:"state"`
	Source   SourceKey  `json:"source,omitempty"`
	Cadence  *float64   `json:"cadence,omitempty"`
	Heart    *float64   `json:"heart,omitempty"`
	AtM      float64    `json:"at"`
	Speed    float64    `json:"speed"`
	Gradient float64    `json:"gradient"`
	Balance  float64    `json:"balance"`
	Work     float64    `json:"work"`
	Index    int        `json:"index"`
	FromS    float64    `json:"from_s"`
	FromM    float64    `json:"from_m"`
	CutS     float64    `json:"cut_s,omitempty"`
	Target   float64    `json:"target"`
	Shelter  *float64   `json:"shelter,omitempty"` // of a ride in a group
	Help     *float64   `json:"help,omitempty"`
	Brought  float64    `json:"brought,omitempty"` // m
}

// row records the state once a second.
func (c *Core) row() {
	if !c.lastRow.IsZero() && c.now.Sub(c.lastRow) < 995*time.Millisecond {
		return
	}
	c.lastRow = c.now
	c.sequence++
	s := state{K: "s", T: round3(c.seconds(c.now)), Stage: c.stage, Begun: round3(c.seconds(c.begun)), Active: round3(c.active), Watts: round3(c.watts),
		State: c.state, Source: c.power.used, AtM: round3(c.at), Speed: round3(c.speed), Gradient: c.gradient(), Balance: round3(c.balance),
		Work: round3(c.work), Index: c.follow.index, FromS: round3(c.follow.fromS), FromM: round3(c.follow.fromM), CutS: round3(c.follow.cutS),
		Target: round3(c.target())}
	if c.begun.IsZero() {
		s.Begun = 0
	}
	s.Brought = round3(c.brought)
	if v, ok := c.cadence.fresh(c.now); ok {
		s.Cadence = &v
	}
	if v, ok := c.heart.fresh(c.now); ok {
		s.Heart = &v
	}
	c.group.row(&s, c.stage)
	c.record(mustJSON(s))
	c.trace.add(c)
}

// target is what is asked for now in watts, 0 if nothing is.
func (c *Core) target() float64 {
	if c.stage != Riding {
		return 0
	}
	if k := c.setup.Course; k != nil {
		if len(k.Cues) == 0 {
			return 0
		}
		return k.Cues[c.follow.cueAt(c, 0)].Watts
	}
	leg, ok := c.follow.leg()
	if !ok {
		return 0
	}
	return leg.WattsAt(c.follow.share(c, leg, c.follow.elapsed(c)))
}

func recordPlan(t float64, cues []Cue) []byte {
	return mustJSON(struct {
		K    string  `json:"k"`
		T    float64 `json:"t"`
		Cues []Cue   `json:"cues"`
	}{"plan", round3(t), cues})
}

func recordGun(t float64, at time.Time) []byte {
	return mustJSON(struct {
		K  string    `json:"k"`
		T  float64   `json:"t"`
		At time.Time `json:"at"`
	}{"gun", round3(t), at})
}

// EndRecord ends a ride's journal, t seconds after its beginning.
func EndRecord(t float64) []byte {
	return []byte(fmt.Sprintf(`{"k":"end","t":%.3f}`, t))
}
