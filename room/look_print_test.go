package room
import ("testing";"fmt";"time")
func TestPrintLook(t *testing.T) {
	for _, k := range []struct{ r Room; w, s float64 }{
		{Room{Temperature: 21, TemperatureKnown: true, Humidity: .55, HumidityKnown: true}, 198, 1320},
		{Room{Temperature: 21, TemperatureKnown: true, Humidity: .55, HumidityKnown: true, Openings: Closed}, 198, 3600},
		{Room{Temperature: 21, TemperatureKnown: true, Humidity: .55, HumidityKnown: true, Openings: Closed, Fans: []Fan{{1, Pedestal, 1, High}}}, 198, 3600},
		{Room{Temperature: 21, TemperatureKnown: true, Humidity: .55, HumidityKnown: true, Openings: DoorAndWindowOpen, Fans: []Fan{{1, Pedestal, 1, High}}}, 198, 3600},
		{Room{Temperature: 16, TemperatureKnown: true, Humidity: .55, HumidityKnown: true, Openings: Hall, Fans: []Fan{{1, Floor, 1, High}}}, 280, 3600},
		{Room{Temperature: 28, TemperatureKnown: true, Humidity: .6, HumidityKnown: true, Openings: WindowOpen, Fans: []Fan{{1, Desk, 1, High}}}, 240, 5400},
		{Room{Temperature: 36, TemperatureKnown: true, Humidity: .3, HumidityKnown: true, Openings: WindowOpen, Fans: []Fan{{1, Floor, 1, High}}}, 200, 3600},
		{Room{}, 90, 1800},
		{Room{}, 150, 7200},
	} {
		t0 := time.Now()
		o := Look(k.r, Body{Mass: 75}, Effort{Watts: k.w, Seconds: k.s})
		fmt.Printf("== %.0f W %.0f min, %v (%.1f ms)\n", k.w, k.s/60, k.r.Openings, time.Since(t0).Seconds()*1000)
		for _, l := range o.Lines { fmt.Println("  ", l) }
		fmt.Println("   std:", o.Standard); fmt.Println("   assumed:", o.Assumed)
		for _, l := range o.Warnings { fmt.Println("   W", l) }
		for _, l := range o.Cautions { fmt.Println("   C", l) }
		fmt.Printf("   end %.1f (%.1f-%.1f) %.2f (%.2f-%.2f) core %.2f (%.2f-%.2f) share %.3f (%.3f-%.3f) needed %.2f steady %.0f watts %.0f best %.0f\n", o.EndTemperature.Mean, o.EndTemperature.Low80, o.EndTemperature.High80, o.EndHumidity.Mean, o.EndHumidity.Low80, o.EndHumidity.High80, o.CoreEnd.Mean, o.CoreEnd.Low80, o.CoreEnd.High80, o.Share.Mean, o.Share.Low80, o.Share.High80, o.AirflowNeeded, o.HeatSteadyS/60, o.WattsThatWould, o.WattsAtBest)
	}
}
