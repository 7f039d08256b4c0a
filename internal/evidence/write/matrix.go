package main

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"strconv"

	"chainline/internal/evidence"
)

const (
	matrixCSV = "docs/evidence-matrix.csv"
	matrixDoc = "docs/rigcheck.md"
)

// onlyMatrix rides the fault matrix of the rig check. A number behind the word
// matrix rides only one check in so many, for a first look.
func onlyMatrix(ctx context.Context) error {
	fraction := 1
	if len(os.Args) > 2 {
		var err error
		if fraction, err = strconv.Atoi(os.Args[2]); err != nil || fraction < 1 {
			return fmt.Errorf("%q: expected a whole number, one check in how many", os.Args[2])
		}
	}
	cells := evidence.MatrixCells()
	type job struct{ cell, run int }
	var jobs []job
	outcomes := make([][]evidence.Outcome, len(cells))
	for i, c := range cells {
		outcomes[i] = make([]evidence.Outcome, max(1, evidence.RunsOf(c)/fraction))
		for run := range outcomes[i] {
			jobs = append(jobs, job{i, run})
		}
	}
	err := each(ctx, len(jobs), "rig check", func(n int) {
		j := jobs[n]
		outcomes[j.cell][j.run] = evidence.CheckOnce(cells[j.cell], j.run)
	})
	if err != nil {
		return err
	}
	var csv bytes.Buffer
	var rows []evidence.MatrixRow
	fmt.Fprintln(&csv, evidence.MatrixHeader)
	for i, c := range cells {
		line := evidence.SumCell(c, outcomes[i]).String()
		fmt.Fprintln(&csv, line)
		row, err := evidence.ParseMatrixRow(line)
		if err != nil {
			return err
		}
		rows = append(rows, row)
	}
	text, err := os.ReadFile(matrixDoc)
	if err != nil {
		return err
	}
	for name, table := range map[string]string{"matrix": evidence.MatrixTable(rows), "matrix summary": evidence.MatrixSummaryTable(rows), "shows": evidence.ShowsTable()} {
		if text, err = evidence.Replace(text, name, table); err != nil {
			return err
		}
	}
	if err := os.WriteFile(matrixCSV, csv.Bytes(), 0o644); err != nil {
		return err
	}
	return os.WriteFile(matrixDoc, text, 0o644)
}
