// Package debrief answers what happened on a ride: its measures, how it went
// against its plan and why the forecast was off, and what it taught.
//
// Everything is reckoned from a recording, the brief it was ridden by if there
// was one, and the capacity of the rider before the ride. Watts are those the
// source displays. SI units.
package debrief
