// Package demo is the invented club: its riders, rigs, road, courses and
// events as files, embedded for whoever wants to look around before typing.
package demo

import "embed"

// Files are the files of this folder as they are.
//
//go:embed *.yaml *.gpx *.csv
var Files embed.FS
