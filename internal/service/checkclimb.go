package service

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"chainline/internal/input"
	"chainline/internal/problem"
	"chainline/internal/ride"
	"chainline/recording"
	"chainline/rig"
)

// What a person tells of the sources of watts, by the names they have for
// them: a climb outdoors, a meter that measures one leg.

// What is not asked about a climb; our judgement. Wind along the road as the
// standard deviation of its mean over the climb, with forest and bends taking
// their part; the height by a map or a barometer; the drag area of a rider
// upright with the hands on the hoods or the tops.
var windSD = map[string]float64{"calm": 0.5, "breezy": 2, "unknown": 1.5} // m/s

const (
	climbArea, climbAreaSD     = 0.36, 0.05 // m²
	ascentShare, leastAscentSD = 0.01, 2.0  // of the ascent; m
	flywheelShare              = 0.10       // doubt of an inertia told without one
	leastInertia, mostInertia  = 0.1, 200.0 // kg at the wheel's rim
)

// otherFile is what rig.Check adds to a name that both recordings have.
const otherFile = " (other file)"

// EasiestClimb is what a climb is to be at least, in words.
const EasiestClimb = "A climb that judges a meter is at least 4 % steep, 40 m high and three minutes long."

// ReadClimb reads a climb's file on disk.
func ReadClimb(name string) (input.ClimbFile, error) {
	return read(BriefRequest{}, name, input.ReadClimb)
}

// told puts into a check's input what a person told of its sources. What
// cannot be used is said, never guessed.
func (q CheckRequest) told(in *rig.CheckInput, n checkNames) ([]rig.Unsaid, error) {
	var unsaid []rig.Unsaid
	for _, asked := range q.OneLeg {
		name, why := q.sourceOf(asked, *in, n)
		if why != "" {
			unsaid = append(unsaid, rig.Unsaid{Subject: rig.OneSided, Source: asked, Because: why})
			continue
		}
		if in.OnlyLeft == nil {
			in.OnlyLeft = map[string]bool{}
		}
		in.OnlyLeft[name] = true
	}
	for _, c := range q.Climbs {
		climbed, why := q.climbed(c, in, n)
		if why != "" {
			unsaid = append(unsaid, rig.Unsaid{Subject: rig.AgainstPhysics, Source: c.Source, Because: why})
			continue
		}
		in.Outdoors = append(in.Outdoors, climbed)
	}
	if q.StrictNames && len(unsaid) > 0 {
		return nil, problem.Bad("%s: %s", problem.OneLine(unsaid[0].Source), unsaid[0].Because)
	}
	return unsaid, q.flywheel(in)
}

func (q CheckRequest) flywheel(in *rig.CheckInput) error {
	if q.FlywheelKg == 0 && q.FlywheelSD == 0 {
		return nil
	}
	if !(q.FlywheelKg >= leastInertia && q.FlywheelKg <= mostInertia) {
		return problem.Bad("the flywheel's inertia is %g kg at the wheel's rim; expected %g to %g", q.FlywheelKg, leastInertia, mostInertia)
	}
	if !(q.FlywheelSD >= 0 && q.FlywheelSD <= q.FlywheelKg) {
		return problem.Bad("the doubt about the flywheel's inertia is %g kg; expected 0 to the inertia itself, %g", q.FlywheelSD, q.FlywheelKg)
	}
	in.FlywheelInertia, in.FlywheelSD = q.FlywheelKg, q.FlywheelSD
	if q.FlywheelSD == 0 {
		in.FlywheelSD = flywheelShare * q.FlywheelKg
	}
	return nil
}

// climbed is a climb as a check takes it, or why it cannot.
func (q CheckRequest) climbed(c input.ClimbFile, in *rig.CheckInput, n checkNames) (rig.Climbed, string) {
	name, why := q.sourceOf(c.Source, *in, n)
	if why != "" {
		return rig.Climbed{}, why
	}
	known, place := in.Side[name], c.Place
	if known == rig.SourceNone && len(sourcesOf(*in)) == 1 {
		known = in.Rig.Source.Kind // the only one there is
	}
	if place == rig.SourceNone {
		place = known
	}
	if known != rig.SourceNone && place != known {
		return rig.Climbed{}, fmt.Sprintf("the climb's %s measures elsewhere by the rig file or by what the device told", c.Source)
	}
	switch place {
	case rig.SourceCrank, rig.SourcePedal, rig.SourceHub:
	default:
		return rig.Climbed{}, "where the meter that went up the climb measures was not told: crank, pedal or hub"
	}
	in.Side[name] = place
	return rig.Climbed{Source: name, MassKg: c.Mass, MassSD: c.MassSD, AscentM: c.Ascent, AscentSD: c.AscentSD.Or(math.Max(leastAscentSD, ascentShare*c.Ascent)),
		LengthM: c.Length, Seconds: c.Duration, MeanWatts: c.Watts, WindSD: windSD[c.Wind], CdA: climbArea, CdASD: climbAreaSD, Crr: rolling, CrrSD: rollingSD,
		TemperatureC: c.Temperature, AltitudeM: c.Height, AtCrank: place != rig.SourceHub}, ""
}

// sourceOf is the name in the report of the source that a person means: by
// that name, by its key or its device, by the file it alone recorded in, or by
// what it is, as long as only one can be meant.
func (q CheckRequest) sourceOf(asked string, in rig.CheckInput, n checkNames) (name, why string) {
	all, files := sourcesOf(in), map[string][]string{}
	for i, l := range q.Looks {
		for _, s := range all {
			if l.Name != "" && s.look == i {
				files[strings.ToLower(l.Name)] = append(files[strings.ToLower(l.Name)], s.name)
			}
		}
	}
	word := strings.ToLower(strings.TrimSpace(asked))
	for _, matches := range []func(source) bool{
		func(s source) bool { return strings.ToLower(s.name) == word },
		func(s source) bool {
			device, _, _ := strings.Cut(string(n.keys[s.plain]), "/")
			return strings.ToLower(string(n.keys[s.plain])) == word || strings.ToLower(device) == word
		},
		func(s source) bool { return slices.Contains(files[word], s.name) },
		func(s source) bool { return isA(word, in.Side[s.name], n.keys[s.plain]) },
	} {
		var found []string
		for _, s := range all {
			if matches(s) && !slices.Contains(found, s.name) {
				found = append(found, s.name)
			}
		}
		switch len(found) {
		case 0:
		case 1:
			return found[0], ""
		default:
			return "", fmt.Sprintf("%s can be any of these sources: %s", asked, strings.Join(found, ", "))
		}
	}
	if len(all) == 0 {
		return "", "nothing looked at has watts"
	}
	names := make([]string, len(all))
	for i, s := range all {
		names[i] = s.name
	}
	return "", "there is no such source of watts here; there are: " + strings.Join(names, ", ")
}

// isA tells whether a source is what a word says it is.
func isA(word string, side rig.SourceKind, key ride.SourceKey) bool {
	switch word {
	case "trainer":
		return side == rig.SourceTrainer
	case "crank", "crank meter":
		return side == rig.SourceCrank
	case "pedal", "pedals":
		return side == rig.SourcePedal
	case "hub", "hub meter":
		return side == rig.SourceHub
	case "meter", "power meter":
		return side == rig.SourceCrank || side == rig.SourcePedal || side == rig.SourceHub || strings.HasSuffix(string(key), "/1818")
	}
	return false
}

// source is one of a check's sources of watts: as the report calls it, and as
// its recording does.
type source struct {
	name, plain string
	look        int
}

func sourcesOf(in rig.CheckInput) []source {
	var out []source
	for _, s := range in.Recording.Sources(recording.Power) {
		out = append(out, source{s, s, 0})
	}
	if in.Other == nil {
		return out
	}
	for _, s := range in.Other.Sources(recording.Power) {
		name := s
		if len(out) > 0 && s == out[0].name {
			name += otherFile
		}
		out = append(out, source{name, s, 1})
	}
	return out
}
