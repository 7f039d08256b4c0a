// Package gallery holds every state of every page with canned structs: what
// tests execute, screenshots show and a designer looks at. The program that
// people get does not contain it.
package gallery

import (
	"slices"

	"chainline/internal/web"
)

// States are all of them, in the order a person meets the pages. Each section
// has its own file with its own list. They are made anew on every call.
func States() []web.State {
	return slices.Concat(next(), riders(), rigs(), courses(), roads(), events(), calendars(), races(), briefs(), rides(), togethers(), checks(), debriefs(), kept(), settings(), shared())
}
