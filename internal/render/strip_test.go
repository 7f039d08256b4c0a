package render

import (
	"math"
	"strings"
	"testing"
)

func details() map[string]Detail {
	return map[string]Detail{"wide": Wide, "phone": Phone, "columns": Columns}
}

func TestBeadsNeverCollideAndNameEveryCue(t *testing.T) {
	for name, b := range everyBrief() {
		for detail, d := range details() {
			s := NewStrip(b, d)
			named := map[int]bool{}
			for i, bead := range s.Beads {
				for n := bead.First; n <= bead.Last; n++ {
					named[n] = true
				}
				if bead.X-bead.Half < -1e-9 || bead.X+bead.Half > s.Plot+1e-9 {
					t.Errorf("%s, %s: bead %s leaves the strip", name, detail, bead.Label)
				}
				if i > 0 && bead.X-bead.Half < s.Beads[i-1].X+s.Beads[i-1].Half-1e-9 {
					t.Errorf("%s, %s: beads %s and %s overlap", name, detail, s.Beads[i-1].Label, bead.Label)
				}
			}
			if len(s.Beads) == 0 {
				continue
			}
			for _, c := range b.Plan.Cues {
				if !named[c.Number] {
					t.Errorf("%s, %s: no bead names cue %d", name, detail, c.Number)
				}
			}
			if len(s.Marks) != len(b.Plan.Cues) {
				t.Errorf("%s, %s: %d marks for %d cues", name, detail, len(s.Marks), len(b.Plan.Cues))
			}
		}
	}
}

func TestEffortNeverCrossesTheHill(t *testing.T) {
	for name, b := range everyBrief() {
		for detail, d := range details() {
			s := NewStrip(b, d)
			for _, p := range s.Effort {
				if p.Y > s.EffortBase || p.Y < s.EffortTop-1e-9 {
					t.Errorf("%s, %s: effort at %v leaves its band", name, detail, p)
				}
			}
			if len(s.Effort) > 0 && s.EffortBase > s.HillTop {
				t.Errorf("%s, %s: the bands overlap", name, detail)
			}
			for _, line := range s.Outlines {
				for _, p := range line {
					if p.Y < s.HillTop-1e-9 || p.Y > s.HillBase {
						t.Errorf("%s, %s: hill at %v leaves its band", name, detail, p)
					}
				}
			}
		}
	}
}

func TestTicksAndTargetsKeepClear(t *testing.T) {
	for name, b := range everyBrief() {
		for detail, d := range details() {
			s, l := NewStrip(b, d), layouts[d]
			for what, labels := range map[string][]Label{"tick": s.Ticks, "target": s.Targets} {
				last := math.Inf(-1)
				for _, at := range labels {
					w := float64(len([]rune(at.Text))) * l.digit * 0.9
					left := map[string]float64{"start": at.X, "middle": at.X - w/2, "end": at.X - w}[at.Anchor]
					if left < last {
						t.Errorf("%s, %s: %s %q overlaps the one before", name, detail, what, at.Text)
					}
					last = left + w
				}
			}
		}
	}
}

// TestRacerStrip pins what the example shows.
func TestRacerStrip(t *testing.T) {
	s := NewStrip(racer(), Wide)
	if len(s.Beads) != 9 {
		t.Errorf("%d beads, want each of the nine cues to have its own", len(s.Beads))
	}
	if len(s.Bands) != 9 || s.Bands[4].Level >= s.Bands[3].Level || s.Bands[6].Level <= s.Bands[2].Level {
		t.Errorf("tints do not follow the effort: %v", s.Bands)
	}
	if len(s.Outlines) != 1 || len(s.Effort) != 18 {
		t.Errorf("%d outlines and %d points of effort, want 1 and 18", len(s.Outlines), len(s.Effort))
	}
	if crowded := NewStrip(busy(60), Phone); len(crowded.Beads) >= 60 || len(crowded.Beads) < 5 {
		t.Errorf("60 cues on a phone have %d beads, want ranges", len(crowded.Beads))
	}
}

func TestSketchStripHasNoCues(t *testing.T) {
	for detail, d := range details() {
		s := NewStrip(newcomer(), d)
		if len(s.Outlines) != 5 || len(s.Beads)+len(s.Effort)+len(s.Targets) != 0 {
			t.Errorf("%s: %d outlines, %d beads, %d effort points; want 5, 0, 0", detail, len(s.Outlines), len(s.Beads), len(s.Effort))
		}
	}
	if !strings.Contains(NewStrip(newcomer(), Wide).SVG("x"), "Five of the ways this course may look") {
		t.Error("the picture does not say in words what it shows")
	}
}

func TestFlatCourseLooksFlat(t *testing.T) {
	b := racer()
	for i := range b.Course.Profile.Elevation {
		b.Course.Profile.Elevation[i] = 50 + 2*math.Sin(float64(i)/20)
	}
	s := NewStrip(b, Wide)
	top := s.HillBase
	for _, p := range s.Outlines[0] {
		top = min(top, p.Y)
	}
	if share := (s.HillBase - top) / (s.HillBase - s.HillTop); share > 0.25 {
		t.Errorf("four metres over ten kilometres fill %.0f %% of the height", 100*share)
	}
}
