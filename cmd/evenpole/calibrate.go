package main

import (
	"context"
	"time"

	"evenpole/fit/gain"
	"evenpole/shop"

	"github.com/spf13/cobra"
)

type calibrateOptions struct {
	gain.Options
	sourceMV float64
	sourceU  float64
	readings []float64
	str      int
	session  string
	record   string
	points   string
	from     string
	tone     string
	channel  int
	now      func() time.Time
}

func newCalibrateCmd(e *env) *cobra.Command {
	o := calibrateOptions{now: time.Now}
	cmd := &cobra.Command{
		Use:   "calibrate --jig ID (--source-mv V --source-u U (--reading-mv MV,.. | --session ID | --recording FILE) | --points FILE)",
		Short: "Find a jig's gain from a source of known level",
		Long: `Finds by how much the jig's millivolts are off, from readings of a source whose RMS
level is known: put it in the pickup's place, one string's channel after the other,
and capture it, or write down what the jig reads. The gain, its uncertainty and
when it is due again are kept in the shop, one file each in calibrations/; the
record stays as it is. From then on 'check' and 'fit' correct that jig's readings.

A gain that all strings share changes levels and no balance. Read the source on
every string's channel and each gets its own, which balance needs. Read it at
three levels or more to see whether the jig is linear.

A source is no pickup: capture it into a folder of its own, or 'fit' learns from
it, and name that folder's record with --readings.

A recorder is calibrated by --recording: some seconds of the source's steady tone, made
with the recorder as it is set for plucks. Its id is "recording-NAME", of --recorder NAME;
millivolts are none before, and hold for readings from --from on until a knob is moved. Takes
that are filed from then on stand in the record in mV, and say so in their note.

--points FILE is CSV: source_mv, source_u_mv, reading_mv and, if you will, string.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return runCalibrate(cmd.Context(), e, o) },
	}
	f := cmd.Flags()
	f.StringVar(&o.Jig, "jig", "", "the jig's `id`, as in the record")
	f.Float64Var(&o.sourceMV, "source-mv", 0, "the source's true RMS `level`, mV")
	f.Float64Var(&o.sourceU, "source-u", 0, "expanded `uncertainty` of that level, mV, from its certificate or data sheet")
	f.Float64Var(&o.K, "source-k", 2, "coverage `factor` of that uncertainty")
	f.StringVar(&o.Source, "source", "", "what the source was, in `words`, for the file")
	f.Float64SliceVar(&o.readings, "reading-mv", nil, "what the jig read, `mV`, separated by commas")
	f.Lookup("reading-mv").DefValue = "" // pflag would print an empty list
	f.IntVar(&o.str, "string", 0, "the `string` whose channel that was (default: the jig as a whole)")
	f.StringVar(&o.session, "session", "", "take the good takes of this `session` instead")
	f.StringVar(&o.record, "readings", "", "the readings `file` that the session is in (default: the shop's)")
	f.StringVar(&o.tone, "recording", "", "take them from this recording of the source's tone, a WAV or FLAC `file`, instead")
	f.IntVar(&o.channel, "channel", 0, "`number` of the recording's channel (default 1)")
	f.StringVar(&o.points, "points", "", "take readings from this CSV `file` instead")
	f.StringVar(&o.from, "from", "", "correct readings from this `day` on (2026-03-02; default: from now on)")
	f.IntVar(&o.Months, "months", 12, "`months` until it is due again")
	required(cmd, "jig")
	cmd.MarkFlagsMutuallyExclusive("points", "session", "reading-mv", "recording")
	cmd.MarkFlagsOneRequired("points", "session", "reading-mv", "recording")
	cmd.MarkFlagsRequiredTogether("source-mv", "source-u")
	cmd.MarkFlagsMutuallyExclusive("points", "source-mv")
	cmd.MarkFlagsMutuallyExclusive("readings", "points")
	cmd.MarkFlagsMutuallyExclusive("readings", "reading-mv")
	return cmd
}

func runCalibrate(ctx context.Context, e *env, o calibrateOptions) error {
	s, err := e.theShop()
	if err != nil {
		return err
	}
	if o.Time = o.now().UTC().Truncate(time.Second); o.from != "" {
		if o.From, err = dayFlag("from", o.from); err != nil {
			return err
		}
	}
	if o.points == "" && o.sourceMV == 0 {
		return badInput("source-mv and source-u: expected the source's level and its uncertainty, got none")
	}
	readings, err := sourceReadings(ctx, s, o)
	if err != nil {
		return err
	}
	c, name, err := s.Calibrate(readings, o.Options)
	if err != nil {
		return err
	}
	if e.json {
		return calibrationJSON.write(e, calibrationDocument{c, name})
	}
	printCalibration(e, c)
	e.print("written to %s", fromHere(name))
	return nil
}

// calibrationDocument is what --json prints.
type calibrationDocument struct {
	*gain.Calibration
	File string `json:"file"`
}

var calibrationJSON = newDocument[calibrationDocument]()

// sourceReadings gathers what the jig read, from wherever it was told.
func sourceReadings(ctx context.Context, s *shop.Shop, o calibrateOptions) ([]gain.Reading, error) {
	switch {
	case o.points != "":
		return shop.SourcePoints(o.points)
	case o.tone != "":
		return shop.SourceRecording(ctx, o.tone, o.channel, o.sourceMV, o.sourceU)
	case o.session != "":
		return s.SourceSession(o.record, o.Jig, o.session, o.sourceMV, o.sourceU)
	}
	return gain.Given(o.readings, o.str, o.sourceMV, o.sourceU), nil
}

func printCalibration(e *env, c *gain.Calibration) {
	e.print("jig %s: gain %.5f, %+.3f dB +- %.3f dB (U, k = %.2f, %g %% coverage)", c.Jig, c.Gain, c.GainDB, c.Expanded, c.K, 100*c.Coverage)
	e.print("one reading scatters by %.3f dB", c.Scatter)
	for _, ch := range c.Channels {
		e.print("string %d: gain %.5f, %+.3f dB from the jig's, standard uncertainty %.3f dB", ch.String, ch.Gain, ch.Offset, ch.Std)
	}
	if s := c.Slope; s != nil {
		e.print("from %.4g to %.4g mV the gain goes from %+.3f to %+.3f dB", s.Low, s.High, s.AtLow, s.AtHigh)
	}
	e.print("readings from %s on are corrected; due again on %s", c.From.Format("2006-01-02 15:04 MST"), c.Due)
	e.warn(c.Warnings)
}
