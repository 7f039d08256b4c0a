// Package session answers what a session asks for, second by second; so far the warm-up, the cool-down and the timeline to the gun.
package session
