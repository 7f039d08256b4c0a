package recording

import (
	"bytes"
	"io"
	"testing"
)

// hour is one hour of twelve channels, four readings a second each.
func hour(b *testing.B) Recording {
	build := NewBuilder("hour", 1.7e9, 0, "indoor cycling")
	for k := range 4 * 3600 {
		s := float64(k)/4 + float64(k%7)/100
		for _, q := range []Quantity{Power, Cadence, HeartRate, WheelSpeed, Speed, Position, Altitude, Gradient, Target, Left} {
			if err := build.Add(q, "ride", s, float64(k*7919%1000)/4); err != nil {
				b.Fatal(err)
			}
		}
		_ = build.Add(Power, "pedals", s, float64(k%300))
		_ = build.Add(RRInterval, "belt", s, 0.4)
	}
	return build.Recording(true)
}

func BenchmarkHour(b *testing.B) {
	r := hour(b)
	for name, f := range map[string]func() error{
		"totals": func() error { r.Totals(""); return nil },
		"csv":    func() error { return r.WriteCSV(io.Discard, 1) },
		"store": func() error {
			var out bytes.Buffer
			err := Write(&out, &r)
			b.ReportMetric(float64(out.Len()), "bytes")
			return err
		},
	} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				if err := f(); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
