package main

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"text/tabwriter"

	"evenpole/capture"
	"evenpole/capture/record"
	"evenpole/fit/level"
	"evenpole/jig"
	"evenpole/profiles"
	"evenpole/shop"
)

// captureDocument is what --json prints.
type captureDocument struct {
	Session   string           `json:"session"`
	Operator  string           `json:"operator"` // "" is not told
	Resumed   bool             `json:"resumed"`
	Already   bool             `json:"already_complete"`
	Kept      int              `json:"kept"`
	Recovered int              `json:"recovered"`
	Stray     int              `json:"stray"`
	Lost      int              `json:"lost"`
	Restarts  int              `json:"restarts"`
	BadLines  []refusal        `json:"bad_lines"` // by what was wrong with them
	Tallies   []tallyDocument  `json:"tallies"`
	Strings   []stringDocument `json:"strings"`
	Warnings  []string         `json:"warnings"`
}

// stringDocument is how a string came out.
type stringDocument struct {
	String  int          `json:"string"`
	Note    string       `json:"note"`
	Takes   int          `json:"takes"`
	Level   level.Figure `json:"level_mv"`
	Within  level.Figure `json:"within_db"` // 95 % interval of the mean, by scatter alone
	Balance level.Figure `json:"balance_db"`
	Scatter level.Figure `json:"scatter_db"`
}

// stringDocuments are the strings that have a level.
func stringDocuments(l *shop.Live) []stringDocument {
	out := []stringDocument{}
	for _, s := range l.Strings() {
		if s.Level.Known() {
			out = append(out, stringDocument{s.Number, s.Note, s.Takes, s.Level, s.Within, s.Balance, s.Scatter})
		}
	}
	return out
}

// tallyDocument is a tally with the takes that did not count as a list.
type tallyDocument struct {
	capture.Tally
	Refused []refusal `json:"refused"`
}

// refusal counts what did not count for one reason: takes, or lines.
type refusal struct {
	Reason string `json:"reason"`
	Count  int    `json:"count"`
}

var captureJSON = newDocument[captureDocument]()

// captured says what came of a capture; until is its standard error, 0 for none.
func (e *env) captured(r *capture.Result, s jig.Stats, until float64, m *profiles.Mount, l *shop.Live) error {
	if e.json {
		warnings := slices.DeleteFunc([]string{m.EstimatedCores(), uncertain(r, until), l.OffPitch()}, func(w string) bool { return w == "" })
		tallies := []tallyDocument{}
		for _, t := range r.Tallies {
			tallies = append(tallies, tallyDocument{t, refusals(t.Refused)})
		}
		return captureJSON.write(e, captureDocument{r.Session, r.Operator, r.Resumed, r.Already, r.Kept, fetchedAgain(r, s), r.Stray, r.Lost, r.Restarts,
			badLines(s), tallies, stringDocuments(l), warnings})
	}
	line := lineWords(r, s)
	if r.Already {
		e.print("session %s is complete already: nothing added (--again measures once more)", r.Session)
		if line != "" {
			e.print("%s", line)
		}
		if isOfFields(r) {
			printFields(e, r)
		}
		e.printStrings(l)
		e.warnOffPitch(l)
		return nil
	}
	e.print("session %s complete: %s kept", r.Session, profiles.Count(r.Kept, "reading"))
	if line != "" {
		e.print("%s", line)
	}
	if isOfFields(r) {
		printFields(e, r)
		return nil
	}
	printTallies(e, r, until)
	if short := uncertain(r, until); short != "" {
		e.warn([]string{short})
	}
	e.printStrings(l)
	e.warnOffPitch(l)
	return nil
}

// warnOffPitch warns of strings that were captured at other notes than the mount's, as was
// allowed: who allows it at the first such string may not know of the next.
func (e *env) warnOffPitch(l *shop.Live) {
	if off := l.OffPitch(); off != "" {
		e.warn([]string{off})
	}
}

// isOfFields reports whether a capture read the field probe.
func isOfFields(r *capture.Result) bool {
	return len(r.Tallies) > 0 && r.Tallies[0].Mode == record.Probe
}

// printFields prints the field at each position of the probe, with the magnet that is there.
func printFields(e *env, r *capture.Result) {
	tw := tabwriter.NewWriter(e.stdout, 0, 0, 2, ' ', 0)
	fmt.Fprintln(tw, "position\tmagnet\tfield mT\t"+inGauss(e, "field G\t")+"good\tmade\trefused")
	for _, t := range r.Tallies {
		profiles.Fprintf(tw, "%d\t%s\t%.1f\t%s%d\t%d\t%s\n", t.Number, orDash(t.Magnet), t.Field, inGauss(e, profiles.Gauss(t.Field)+"\t"), t.Good, t.Made, refusalWords(refusals(t.Refused)))
	}
	tw.Flush()
}

// modeWords are what takes of a mode are called.
var modeWords = map[record.Mode]string{record.Quiet: "quiet", record.Pluck: "plucks", record.Drive: "driven"}

// printTallies prints how many takes of each string there are.
func printTallies(e *env, r *capture.Result, until float64) {
	tw := tabwriter.NewWriter(e.stdout, 0, 0, 2, ' ', 0)
	fmt.Fprint(tw, "string\ttakes\tgood\tmade\trefused")
	if until > 0 {
		fmt.Fprint(tw, "\tstandard error")
	}
	fmt.Fprintln(tw)
	for _, t := range r.Tallies {
		fmt.Fprintf(tw, "%d\t%s\t%d\t%d\t%s", t.Number, modeWords[t.Mode], t.Good, t.Made, refusalWords(refusals(t.Refused)))
		if t.StandardError > 0 {
			fmt.Fprintf(tw, "\t%.2f dB", t.StandardError)
		}
		fmt.Fprintln(tw)
	}
	tw.Flush()
}

// fetchedAgain is how many readings the jig was asked for again, and sent: from before
// this capture, and in it.
func fetchedAgain(r *capture.Result, s jig.Stats) int { return r.Recovered + s.Refilled }

// lineWords says what went wrong on the line; "" where nothing did.
func lineWords(r *capture.Result, s jig.Stats) string {
	again, bad := fetchedAgain(r, s), badLines(s)
	count, why := 0, ""
	for _, b := range bad {
		count += b.Count
	}
	if again+r.Stray+r.Lost+r.Restarts+count == 0 {
		return ""
	}
	if count > 0 {
		why = fmt.Sprintf(" (%s)", refusalWords(bad))
	}
	return fmt.Sprintf("on the line: %s%s, %s fetched again from the jig, %d of another mount, %d lost and plucked again, %s",
		profiles.Count(count, "bad line"), why, profiles.Count(again, "reading"), r.Stray, r.Lost, profiles.Count(r.Restarts, "restart"))
}

// badLines counts the lines that are not to be believed, by what was wrong with them.
func badLines(s jig.Stats) []refusal {
	out := []refusal{}
	for _, flaw := range jig.Flaws() {
		if n := s.Bad[flaw]; n > 0 {
			out = append(out, refusal{flaw.String(), n})
		}
	}
	return out
}

// uncertain says which strings' means are not known to a standard error; "" where all are.
func uncertain(r *capture.Result, until float64) string {
	short := r.Uncertain(until)
	if short == nil {
		return ""
	}
	return fmt.Sprintf("not known to %g dB after as many takes as may be: string %s; look why its takes scatter, or allow more with --takes", until, strings.Trim(fmt.Sprint(short), "[]"))
}

// refusals lists why takes did not count.
func refusals(counts map[string]int) []refusal {
	out := []refusal{}
	for _, reason := range slices.Sorted(maps.Keys(counts)) {
		if n := counts[reason]; n > 0 {
			out = append(out, refusal{reason, n})
		}
	}
	return out
}

// refusalWords says why takes or lines did not count: "2 clipped, 1 lost".
func refusalWords(list []refusal) string {
	var parts []string
	for _, r := range list {
		parts = append(parts, fmt.Sprintf("%d %s", r.Count, r.Reason))
	}
	if parts == nil {
		return "-"
	}
	return strings.Join(parts, ", ")
}
