package service

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"chainline/internal/problem"
	"chainline/rig"
)

// The power curve that a check fitted, as a rig's file takes it.

// CurveRow is a row of power_curve, as it is written.
type CurveRow struct{ KmH, Watts string }

// CurveRows are the rows of power_curve, and power_curve_accuracy_percent. The
// error says why a rig cannot take them.
func CurveRows(c CheckSheet) (rows []CurveRow, accuracy string, err error) {
	if len(c.Curve) == 0 {
		why := "nothing to fit one from was recorded"
		for _, u := range c.Unsaid {
			for _, s := range u.Subjects {
				if s == string(rig.TrainerSpeedOnly) {
					why = u.Because
				}
			}
		}
		return nil, "", problem.Bad("this check fitted no power curve, because %s", why)
	}
	kmh, watts := 0.0, 0.0
	for _, p := range c.Curve {
		v, w := math.Round(360*p.WheelMS)/100, math.Round(10*p.Watts)/10
		if v <= kmh || w <= watts || v > 150 || w > 3000 { // a row that rounding made equal to the one before, or that no file takes
			continue
		}
		kmh, watts = v, w
		rows = append(rows, CurveRow{strconv.FormatFloat(v, 'f', -1, 64), strconv.FormatFloat(w, 'f', -1, 64)})
	}
	if len(rows) < 2 {
		return nil, "", problem.Bad("the power curve of this check has fewer than the two rising rows that a rig needs")
	}
	sd := math.Min(50, math.Max(0.1, math.Round(1000*c.CurveSD)/10))
	return rows, strconv.FormatFloat(sd, 'f', -1, 64), nil
}

// CurveYAML is the curve as the lines that stand under 'trainer:' in a rig's
// file.
func CurveYAML(c CheckSheet) (string, error) {
	rows, accuracy, err := CurveRows(c)
	if err != nil {
		return "", err
	}
	var b strings.Builder
	of := "a rig check"
	if c.Bench {
		of = "a check of a simulated rig"
	}
	fmt.Fprintf(&b, "# Fitted by %s of %s, for this tyre pressure and a warm trainer.\n# These lines stand under 'trainer:' in a rig's file, in place of the ones there.\n", of, c.Begun.Format("2006-01-02"))
	b.WriteString("  power_curve:\n")
	for _, r := range rows {
		fmt.Fprintf(&b, "    - {wheel_speed_km_h: %s, watts: %s}\n", r.KmH, r.Watts)
	}
	fmt.Fprintf(&b, "  power_curve_accuracy_percent: %s\n", accuracy)
	return b.String(), nil
}
