// Package ride is the live engine. Core is a state machine that neither
// blocks nor reads a clock: sensor events, ticks and keys go in; requests to
// the port, records for the journal, notices and snapshots come out. Engine is
// the one goroutine that owns a Core and moves what comes out to where it
// belongs; Headless runs a Core against a bench rig as fast as it can.
//
// The position on a course comes from our own physics and the displayed
// watts, never from what a trainer claims as speed. Every command to a trainer
// passes Gate. What a ride did is what its journal says: a FIT file, a table
// or a debrief are made from it afterwards.
package ride
