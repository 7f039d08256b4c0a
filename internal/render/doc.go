// Package render turns a brief into the faces a person or a program reads:
// text for a terminal, one HTML page for screen, phone and paper, and JSON.
// It computes nothing about riding: it chooses words, rounds, and draws.
package render
