package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"math"
	"slices"

	"evenpole/jig"
	"evenpole/recording"
)

// played is a pluck as it was made.
type played struct {
	at     float64 // s
	string int     // 1 is the first
	freq   float64 // Hz
}

// sound is a recording and the truth about it.
type sound struct {
	name   string
	file   []byte
	rate   int
	notes  []float64
	played []played
	clean  []float64 // the strings alone, without hum and noise; nil where nobody knows
	whole  []float64 // as it was stored, decoded
	near   float64   // s, within which what was heard is what was played: a sample of a font begins with the pick's noise
}

// score counts what was heard.
type score struct {
	log  io.Writer
	hard bool // strings cannot be told apart

	played, found, invented, right, flagged, measured int
	errors                                            []float64 // dB, of levels
	late                                              []float64 // s, of releases
}

const header = "recording                                       plucks   found invented   right flagged   level: worst  95 %   release: 95 %"

// listen hears a recording and counts.
func (s *sound) listen(to *score) error {
	heard, err := recording.Hear(context.Background(), s.name, bytes.NewReader(s.file), recording.Options{Notes: s.notes}, nil)
	if err != nil {
		return err
	}
	used := make([]bool, len(heard.Plucks))
	for _, want := range s.played {
		to.played++
		i := slices.IndexFunc(heard.Plucks, func(p recording.Pluck) bool { return math.Abs(p.Release.Seconds()-want.at) < s.near })
		if i < 0 {
			fmt.Fprintf(to.log, "%s: %.3f s, string %d at %.1f Hz: not found\n", s.name, want.at, want.string, want.freq)
			continue
		}
		used[i] = true
		to.found++
		s.compare(to, want, &heard.Plucks[i])
	}
	for i, p := range heard.Plucks {
		if !used[i] {
			to.invented++
			fmt.Fprintf(to.log, "%s: %.3f s, string %d at %.1f Hz: made up\n", s.name, p.Release.Seconds(), p.String, p.Freq)
		}
	}
	return nil
}

// compare compares a pluck that was found with what was played.
func (s *sound) compare(to *score, want played, p *recording.Pluck) {
	if p.String == want.string && math.Abs(p.Freq/want.freq-1) < 0.03 {
		to.right++
	} else {
		fmt.Fprintf(to.log, "%s: %.3f s: string %d at %.1f Hz for %d at %.1f Hz %v\n", s.name, want.at, p.String, p.Freq, want.string, want.freq, p.Notes)
	}
	to.late = append(to.late, math.Abs(p.Release.Seconds()-want.at))
	if p.Flags != 0 {
		to.flagged++
		fmt.Fprintf(to.log, "%s: %.3f s: string %d flagged %x %v\n", s.name, want.at, want.string, p.Flags, p.Notes)
		if p.Flags != jig.ShortWindow {
			return
		}
	}
	from := int(math.Round((p.Release + recording.WindowDelay).Seconds() * float64(s.rate)))
	to2 := from + int(math.Round(p.Window.Seconds()*float64(s.rate)))
	truth, got := trueRMS(s.whole[from:to2]), p.RMS
	if s.clean != nil {
		truth, got = trueRMS(s.clean[from:to2]), math.Sqrt(p.RMS*p.RMS-p.Quiet*p.Quiet)
	}
	to.measured++
	to.errors = append(to.errors, math.Abs(20*math.Log10(got/truth)))
	if e := to.errors[len(to.errors)-1]; e > mostError {
		fmt.Fprintf(to.log, "%s: %.3f s: string %d level off by %.3f dB, quiet %.1f dB below\n", s.name, want.at, want.string, e, 20*math.Log10(p.RMS/p.Quiet))
	}
}

// trueRMS is the RMS about the mean, in two passes.
func trueRMS(x []float64) float64 {
	mean, sum := 0.0, 0.0
	for _, v := range x {
		mean += v / float64(len(x))
	}
	for _, v := range x {
		sum += (v - mean) * (v - mean) / float64(len(x))
	}
	return math.Sqrt(sum)
}

const mostError = 0.05 // dB

// kept reports whether what is promised was kept.
func (s *score) kept() bool {
	return s.invented <= s.played/100 && s.found*100 >= 99*s.played && (s.hard || s.right*100 >= 99*s.played) && quantile(s.errors, 0.99) <= mostError
}

func (s *score) row(name string) string {
	share := func(n int) string {
		if s.played == 0 {
			return "      -"
		}
		return fmt.Sprintf("%5.1f %%", 100*float64(n)/float64(s.played))
	}
	mark := ""
	if s.hard {
		mark = "  (strings of one note)"
	}
	if !s.kept() {
		mark += "  NOT KEPT"
	}
	return fmt.Sprintf("%-46s %7d %s %8d %s %s   %8.4f dB %7.4f   %7.1f ms%s", name, s.played, share(s.found), s.invented, share(s.right), share(s.flagged),
		quantile(s.errors, 1), quantile(s.errors, 0.95), 1000*quantile(s.late, 0.95), mark)
}

// quantile is a quantile of values; 0 of none.
func quantile(x []float64, q float64) float64 {
	if len(x) == 0 {
		return 0
	}
	x = slices.Sorted(slices.Values(x))
	return x[min(len(x)-1, int(q*float64(len(x))))]
}
