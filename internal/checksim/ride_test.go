package checksim

import (
	"fmt"
	"math"
	"os"
	"reflect"
	"testing"

	"chainline/estimate"
	"chainline/recording"
	"chainline/rig"
)

func mean(c recording.Channel, from, to float64) float64 {
	sum, n := 0.0, 0.0
	for i, s := range c.Seconds {
		if s >= from && s < to {
			sum, n = sum+c.Values[i], n+1
		}
	}
	return sum / n
}

func channel(t *testing.T, in rig.CheckInput, q recording.Quantity, source string) recording.Channel {
	t.Helper()
	c, ok := in.Recording.Signal(q, source)
	if !ok {
		t.Fatalf("no %s of %q", q, source)
	}
	return c
}

func TestPeek(t *testing.T) {
	for _, s := range Setups {
		in, _ := Ride(Case{Setup: s}, estimate.Stream(1, 1))
		if err := in.Recording.Validate(); err != nil {
			t.Fatal(err)
		}
		if os.Getenv("PEEK") == "" {
			continue
		}
		fmt.Println(s, in.Threshold)
		for _, p := range in.Phases {
			fmt.Printf("%-10s %5.0f-%5.0f %4.0f W %3.0f:", p.Kind, p.From, p.To, p.Watts, p.Cadence)
			for _, c := range in.Recording.Channels {
				fmt.Printf(" %s/%s %.1f", c.Source, c.Quantity, mean(c, p.From+12, p.To))
			}
			fmt.Println()
		}
	}
	_ = math.Pi
	_ = reflect.DeepEqual
}

func BenchmarkRide(b *testing.B) {
	for i := range b.N {
		Ride(Case{Setup: Setups[i%len(Setups)]}, estimate.Stream(1, i))
	}
}
