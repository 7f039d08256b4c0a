// Command write recomputes the tables in docs/evidence.md. Run it by
// `make evidence` from the root of the module; it takes minutes.
package main

import (
	"bytes"
	"context"
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
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	if err := run(ctx); err != nil {
		fmt.Fprintln(os.Stderr, "evidence:", err)
		os.Exit(1)
	}
}

func run(ctx context.Context) error {
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
	for name, table := range map[string]string{"solver": evidence.SolverTable(compared), "coverage": evidence.CoverageTable(rows)} {
		if text, err = evidence.Replace(text, name, table); err != nil {
			return err
		}
	}
	if err := os.WriteFile(riders, csv.Bytes(), 0o644); err != nil {
		return err
	}
	return os.WriteFile(doc, text, 0o644)
}

func simulate(ctx context.Context) ([]evidence.Row, error) {
	n := len(evidence.Strata) * evidence.RidersPerStratum
	rows, errs := make([]evidence.Row, n), make([]error, n)
	var group sync.WaitGroup
	next := make(chan int)
	for range runtime.GOMAXPROCS(0) {
		group.Go(func() {
			for i := range next {
				rows[i], errs[i] = evidence.Simulate(ctx, i/evidence.RidersPerStratum, i%evidence.RidersPerStratum)
				if i%50 == 0 {
					fmt.Fprintf(os.Stderr, "\rrider %d of %d", i, n)
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
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	for _, err := range errs {
		if err != nil {
			return nil, err
		}
	}
	return rows, nil
}
