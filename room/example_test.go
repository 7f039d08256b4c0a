package room_test

import (
	"fmt"

	"chainline/estimate"
	"chainline/room"
)

// What a fan is worth: the same draws of what is not known, with and without.
func Example() {
	fans, err := room.ParseFan("one pedestal fan, a metre away, high")
	if err != nil {
		panic(err)
	}
	still := room.Room{Temperature: 21, TemperatureKnown: true, Openings: room.Closed}
	moved := still
	moved.Fans = fans
	body, effort := room.Body{Mass: 72}, room.Effort{Watts: 200, Seconds: 3600}
	var gains []float64
	for i := range 200 {
		doubt := room.NewDoubt(estimate.Stream(1, i))
		without := room.NewCase(still, body, effort, doubt).Share()
		with := room.NewCase(moved, body, effort, doubt).Share()
		gains = append(gains, with/without-1)
	}
	gain := estimate.FromDraws(gains, "")
	fmt.Printf("%s: %.0f %% more power", room.DescribeFans(fans), 100*gain.Mean)
	// Output: one pedestal fan, 1 m away, high: 4 % more power
}
