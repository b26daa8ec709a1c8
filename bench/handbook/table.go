package main

import (
	"fmt"
	"io"
	"math"
	"slices"

	csvfile "evenpole/capture/record/table"
)

// table is the worlds' parameters.
type table struct {
	names  []string
	worlds []row
}

func (t *table) write(to io.Writer) error {
	lines := [][]string{append([]string{"world", "rms_db"}, t.names...)}
	for _, r := range t.worlds {
		cols := []string{fmt.Sprint(r.seed), fmt.Sprintf("%.3f", r.rmsDB)}
		for _, v := range r.parameters {
			cols = append(cols, fmt.Sprintf("%.4f", v))
		}
		lines = append(lines, cols)
	}
	return csvfile.WriteLines(to, true, lines...)
}

// column is one parameter in all worlds.
func (t *table) column(name string) (out []float64) {
	j := slices.Index(t.names, name)
	for _, r := range t.worlds {
		out = append(out, r.parameters[j])
	}
	return out
}

// misfits are what the equation leaves of each world's levels, dB, in order.
func (t *table) misfits() (out []float64) {
	for _, r := range t.worlds {
		out = append(out, r.rmsDB)
	}
	slices.Sort(out)
	return out
}

// moments are the means and standard deviations of two lists and their correlation.
func moments(a, b []float64) (meanA, sdA, meanB, sdB, r float64) {
	n := float64(len(a))
	for i := range a {
		meanA, meanB = meanA+a[i]/n, meanB+b[i]/n
	}
	for i := range a {
		sdA += (a[i] - meanA) * (a[i] - meanA) / n
		sdB += (b[i] - meanB) * (b[i] - meanB) / n
		r += (a[i] - meanA) * (b[i] - meanB) / n
	}
	sdA, sdB = math.Sqrt(sdA), math.Sqrt(sdB)
	return meanA, sdA, meanB, sdB, r / (sdA * sdB)
}

// summarise prints means and standard deviations, and correlations that matter.
func (t *table) summarise(to io.Writer) {
	const matters = 0.6
	m := t.misfits()
	fmt.Fprintf(to, "%d worlds; the equation is off by %.2f dB rms in the middle one, %.2f in the 95th of 100\n", len(m), m[len(m)/2], m[len(m)*95/100])
	for i, name := range t.names {
		a := t.column(name)
		mean, sd, _, _, _ := moments(a, a)
		fmt.Fprintf(to, "%-26s %7.3f +- %.3f", name, mean, sd)
		for _, other := range t.names[:i] {
			if _, _, _, _, r := moments(a, t.column(other)); math.Abs(r) > matters {
				fmt.Fprintf(to, "  %s %+.2f", other, r)
			}
		}
		fmt.Fprintln(to)
	}
}
