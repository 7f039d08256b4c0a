package service

import (
	"context"
	"net"
	"time"

	"chainline/internal/problem"
	"chainline/rig"
)

// Of a link that is measured: round trips, the pause between them, and how
// long one is waited for.
const (
	linkRounds = 20
	linkEvery  = 100 * time.Millisecond
	linkWait   = 2 * time.Second
)

// MeasureLink times round trips to a host that the person named, "host:port":
// how long a connection takes to be answered. Nothing is sent. It is never
// called unless a person asked for this very host.
func MeasureLink(ctx context.Context, at string) ([]rig.Round, error) {
	host, port, err := net.SplitHostPort(at)
	if err != nil || host == "" || port == "" {
		return nil, problem.Bad("--host: found %q; expected a host and a port, such as example.org:443", at)
	}
	resolver := net.Resolver{}
	look, cancel := context.WithTimeout(ctx, 5*time.Second)
	defer cancel()
	names, err := resolver.LookupHost(look, host) // once: the name's own time is not the link's
	if err != nil || len(names) == 0 {
		return nil, &problem.Error{Kind: problem.Misuse, Message: "--host: " + problem.OneLine(host) + " is not known; expected a host that can be reached", Err: err}
	}
	address := net.JoinHostPort(names[0], port)
	began := time.Now()
	var rounds []rig.Round
	for i := range linkRounds {
		if i > 0 {
			select {
			case <-time.After(linkEvery):
			case <-ctx.Done():
				return nil, ctx.Err()
			}
		}
		rounds = append(rounds, oneRound(ctx, address, began))
	}
	if ctx.Err() != nil {
		return nil, ctx.Err()
	}
	return rounds, nil
}

// oneRound is a connection made and closed. A refusal is an answer too.
func oneRound(ctx context.Context, address string, began time.Time) rig.Round {
	sent := time.Now()
	d := net.Dialer{Timeout: linkWait}
	c, err := d.DialContext(ctx, "tcp", address)
	r := rig.Round{Sent: sent.Sub(began).Seconds(), Took: time.Since(sent).Seconds()}
	if err != nil {
		if !refused(err) {
			r.Took = -1
		}
		return r
	}
	_ = c.Close()
	return r
}
