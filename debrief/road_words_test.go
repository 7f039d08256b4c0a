package debrief

import (
	"math"
	"slices"
	"testing"
)

func TestRoadInSentences(t *testing.T) {
	fitted := func(mean, by float64) Fitted {
		var f Fitted
		f.Mean, f.Low95, f.High95 = mean, mean-by, mean+by
		return f
	}
	none := Fitted{Unsaid: "nobody was near"}
	for _, c := range []struct {
		fit  RoadFit
		want []string
	}{
		{RoadFit{CdA: none, Crr: none, Shelter: none}, []string{"Drag, rolling and shelter: cannot say, because nobody was near."}},
		{RoadFit{CdA: fitted(0.312, 0.014), Crr: fitted(0.0045, 0.0005), Shelter: none, Seconds: 3000}, []string{"From 50 min ridden alone:",
			"Drag area CdA 0.312 m², 19 times in 20 between 0.298 and 0.326.", "Rolling Crr 0.0045, 19 times in 20 between 0.0040 and 0.0050.", "Share of the drag left in shelter: cannot say, because nobody was near."}},
		{RoadFit{CdA: fitted(0.312, 0.014), Crr: fitted(math.NaN(), 0), Shelter: fitted(0.7, 0.1), Seconds: 2000}, []string{"From 33 min ridden alone:",
			"Drag area CdA 0.312 m², 19 times in 20 between 0.298 and 0.326.", "Share of the drag left in shelter 0.70, 19 times in 20 between 0.60 and 0.80."}},
	} {
		if got := c.fit.Sentences(); !slices.Equal(got, c.want) {
			t.Errorf("%q\nwant %q", got, c.want)
		}
	}
}
