package estimate

import "fmt"

// Chance is a probability in words: in whole percent, and never as certain.
func Chance(p float64) string {
	switch {
	case p > 0.99:
		return "more than 99 %"
	case p < 0.01:
		return "less than 1 %"
	}
	return fmt.Sprintf("%.0f %%", 100*p)
}
