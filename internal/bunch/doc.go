// Package bunch is how the members of a live group course know of each other:
// what they tell and are told, whose clock counts, where somebody is between
// two reports, and how far apart riders are in seconds. The host's side (Host)
// and a member's (Seat, Link) are here; how messages travel is a Transport's
// affair, and package bunch/wire has the one over TLS.
//
// All times that travel are of the host's clock, in microseconds since 1970. A
// member finds the host's clock from the exchanges (Clock). Nothing here moves
// a rider: that is internal/ride's physics. docs/group.md says what it is good
// for and what not.
package bunch
