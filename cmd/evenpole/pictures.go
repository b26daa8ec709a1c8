package main

import (
	"context"
	"strings"

	"evenpole/capture/record"
	"evenpole/fit"
	"evenpole/fit/cell"
	"evenpole/fit/explain"
	"evenpole/report"
	"evenpole/shop"

	"github.com/spf13/cobra"
)

type picturesOptions struct {
	model    string
	readings []string
	out      string
}

func newPicturesCmd(e *env) *cobra.Command {
	var o picturesOptions
	cmd := &cobra.Command{
		Use:   "pictures [--model MODEL] [--out DIR]",
		Short: "Draw what the model says of the record, and what it leaves",
		Long: `Draws the shop's current model over the record that it was fitted to, as SVG files:
balance measured over predicted for pickups left out of the fit; how level falls
with the gap; what the model leaves, by string and session by session; and the
effects of pickups, batches, poles, strings, the jig's slots and mountings, with
intervals. What a model does not have is not drawn.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return runPictures(cmd.Context(), e, o) },
	}
	f := cmd.Flags()
	f.StringVar(&o.model, "model", "", "model `file` (default: the shop's current model)")
	f.StringArrayVar(&o.readings, "readings", nil, "readings `file` to draw instead of the shop's (repeatable)")
	f.StringVar(&o.out, "out", "", "`folder` for the pictures (default: pictures in the shop)")
	e.writes(cmd)
	return cmd
}

// picturesDocument is what --json prints.
type picturesDocument struct {
	Model    string   `json:"model"`
	Pictures []string `json:"pictures"`
	Notes    []string `json:"notes"`
}

var picturesJSON = newDocument[picturesDocument]()

// diagnosed is what the pictures show.
func diagnosed(ctx context.Context, m fit.Model, data *cell.Data, files []string) (*explain.Diagnosis, error) {
	out, err := explain.Diagnose(ctx, m, data, func(done, of int) { record.Tell(ctx, "predicting pickup %d of %d from the others", done, of) })
	if err != nil && ctx.Err() == nil {
		err = badInput("%s: %w", strings.Join(files, ", "), err)
	}
	return out, err
}

func runPictures(ctx context.Context, e *env, o picturesOptions) error {
	s, err := e.shopHere()
	if err != nil {
		return err
	}
	model, err := s.Model(o.model)
	if err != nil {
		return err
	}
	files := o.readings
	if len(files) == 0 || o.out == "" {
		if err := s.Require(); err != nil {
			return err
		}
	}
	if len(files) == 0 {
		files = []string{s.ReadingsFile()}
	}
	var data *cell.Data
	diagnosis, err := late(ctx, e, func(ctx context.Context) (*explain.Diagnosis, error) {
		if data, err = shop.CellsOf(ctx, files, ""); err != nil {
			return nil, err
		}
		return diagnosed(ctx, model.Model, data, files)
	})
	if err != nil {
		return err
	}
	if data.Fingerprint() != model.Fingerprint {
		e.warn([]string{"the record is not the one that the model was fitted to: 'evenpole fit' fits it anew"})
	}
	e.warn(few(diagnosis.Notes))
	written := []string{}
	for _, p := range report.Plots(diagnosis, e.units) {
		path := s.PictureFile(o.out, p.Name)
		if err := s.WriteFile(path, e.force, p.Write); err != nil {
			return err
		}
		written = append(written, path)
		if !e.json {
			e.print("%s: %s", fromHere(path), p.Title)
		}
	}
	if e.json {
		return picturesJSON.write(e, picturesDocument{model.Kind, written, append([]string{}, diagnosis.Notes...)})
	}
	return nil
}
