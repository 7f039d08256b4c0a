// Command write recomputes the tables in docs/evidence.md. Run it by
// `make evidence` from the root of the module; it takes minutes. With the
// argument plans it only makes plans and forecasts and learns from rides, with
// remade it only rides with the plan made anew and fixed, with matrix only the
// fault matrix of the rig check.
package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"os/signal"
	"runtime"
	"sync"

	"chainline/internal/evidence"
)

const (
	doc    = "docs/evidence.md"
	riders = "docs/evidence-riders.csv"
	learnt = "docs/evidence-learnt.csv"
	remade = "docs/evidence-remade.csv"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	run := run
	if len(os.Args) > 1 {
		part, known := map[string]func(context.Context) error{"plans": onlyPlans, "remade": onlyRemade, "matrix": onlyMatrix}[os.Args[1]]
		if !known {
			fmt.Fprintf(os.Stderr, "evidence: %q: expected nothing, plans, remade or matrix\n", os.Args[1])
			os.Exit(2)
		}
		run = part
	}
	if err := run(ctx); err != nil {
		fmt.Fprintln(os.Stderr, "evidence:", err)
		os.Exit(1)
	}
}

func run(ctx context.Context) error {
	for _, part := range []func(context.Context) error{onlyPlans, onlyRemade, onlyMatrix} {
		if err := part(ctx); err != nil {
			return err
		}
	}
	return nil
}

// onlyPlans compares plans with the general solver's, forecasts with what came
// true, and what is learnt with what is so.
func onlyPlans(ctx context.Context) error {
	text, err := os.ReadFile(doc)
	if err != nil {
		return err
	}
	fixtures, err := evidence.Fixtures()
	if err != nil {
		return err
	}
	var compared []evidence.Comparison
	for _, f := range fixtures {
		c, err := evidence.Compare(f)
		if err != nil {
			return fmt.Errorf("%s: %w", f.Name, err)
		}
		compared = append(compared, c)
	}
	rows, err := simulate(ctx)
	if err != nil {
		return err
	}
	var csv bytes.Buffer
	fmt.Fprintln(&csv, evidence.RowHeader)
	for i, r := range rows {
		fmt.Fprintln(&csv, r)
		// The table is summed from what the file says.
		if rows[i], err = evidence.ParseRow(r.String()); err != nil {
			return err
		}
	}
	var learntCSV bytes.Buffer
	fmt.Fprintln(&learntCSV, evidence.LearntHeader)
	cases, err := learn(ctx)
	if err != nil {
		return err
	}
	for i, r := range cases {
		fmt.Fprintln(&learntCSV, r)
		if cases[i], err = evidence.ParseLearntRow(r.String()); err != nil {
			return err
		}
	}
	for name, table := range map[string]string{"solver": evidence.SolverTable(compared), "coverage": evidence.CoverageTable(rows), "learnt": evidence.LearntTable(cases)} {
		if text, err = evidence.Replace(text, name, table); err != nil {
			return err
		}
	}
	if err := os.WriteFile(riders, csv.Bytes(), 0o644); err != nil {
		return err
	}
	if err := os.WriteFile(learnt, learntCSV.Bytes(), 0o644); err != nil {
		return err
	}
	return os.WriteFile(doc, text, 0o644)
}

// onlyRemade rides by the plan as made and by the plan made anew on the way.
func onlyRemade(ctx context.Context) error {
	rows, errs := make([]evidence.RemadeRow, evidence.RemadeRiders), make([]error, evidence.RemadeRiders)
	err := each(ctx, len(rows), "ride made anew", func(i int) { rows[i], errs[i] = evidence.Remade(ctx, i) })
	if err = errors.Join(append(errs, err)...); err != nil {
		return err
	}
	var csv bytes.Buffer
	fmt.Fprintln(&csv, evidence.RemadeHeader)
	asked, solving := 0, 0.0
	for i, r := range rows {
		asked, solving = asked+r.Asked, solving+r.Solving
		fmt.Fprintln(&csv, r)
		if rows[i], err = evidence.ParseRemadeRow(r.String()); err != nil {
			return err
		}
	}
	fmt.Fprintf(os.Stderr, "the rest was solved %d times, %.1f ms each\n", asked, 1000*solving/float64(max(1, asked)))
	text, err := os.ReadFile(doc)
	if err != nil {
		return err
	}
	if text, err = evidence.Replace(text, "remade", evidence.RemadeTable(rows)); err != nil {
		return err
	}
	if err := os.WriteFile(remade, csv.Bytes(), 0o644); err != nil {
		return err
	}
	return os.WriteFile(doc, text, 0o644)
}

// each does f for 0 to n−1 on all processors, until ctx is done.
func each(ctx context.Context, n int, what string, f func(int)) error {
	var group sync.WaitGroup
	next := make(chan int)
	for range runtime.GOMAXPROCS(0) {
		group.Go(func() {
			for i := range next {
				f(i)
				if i%50 == 0 {
					fmt.Fprintf(os.Stderr, "\r%s %d of %d", what, i, n)
				}
			}
		})
	}
	for i := 0; i < n && ctx.Err() == nil; i++ {
		next <- i
	}
	close(next)
	group.Wait()
	fmt.Fprintln(os.Stderr)
	return ctx.Err()
}

func simulate(ctx context.Context) ([]evidence.Row, error) {
	n := len(evidence.Strata) * evidence.RidersPerStratum
	rows, errs := make([]evidence.Row, n), make([]error, n)
	err := each(ctx, n, "rider", func(i int) {
		rows[i], errs[i] = evidence.Simulate(ctx, i/evidence.RidersPerStratum, i%evidence.RidersPerStratum)
	})
	return rows, errors.Join(append(errs, err)...)
}

func learn(ctx context.Context) ([]evidence.LearntRow, error) {
	var rows []evidence.LearntRow
	for at, k := range evidence.Cases {
		these := make([]evidence.LearntRow, k.Riders)
		if err := each(ctx, k.Riders, k.Name+", rider", func(i int) { these[i] = evidence.Learn(at, i) }); err != nil {
			return nil, err
		}
		rows = append(rows, these...)
	}
	return rows, nil
}
