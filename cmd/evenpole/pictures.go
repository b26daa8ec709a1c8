package main

import (
	"os"
	"path/filepath"
	"strings"

	"evenpole/fit/explain"
	"evenpole/report"

	"github.com/spf13/cobra"
)

// picturesDir is where a shop's pictures of its model go.
const picturesDir = "pictures"

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
		RunE: func(*cobra.Command, []string) error { return runPictures(e, o) },
	}
	f := cmd.Flags()
	f.StringVar(&o.model, "model", "", "model `file` (default: the shop's current model)")
	f.StringArrayVar(&o.readings, "readings", nil, "readings `file` to draw instead of the shop's (repeatable)")
	f.StringVar(&o.out, "out", "", "`folder` for the pictures (default: pictures in the shop)")
	return cmd
}

func runPictures(e *env, o picturesOptions) error {
	if err := e.shopExists(); err != nil {
		return err
	}
	model, err := e.readModel(o.model)
	if err != nil {
		return err
	}
	files, err := e.recordFiles(o.readings)
	if err != nil {
		return err
	}
	data, err := gatherFiles(files)
	if err != nil {
		return err
	}
	if o.out == "" {
		dir, err := e.shopDir()
		if err != nil {
			return err
		}
		o.out = filepath.Join(dir, picturesDir)
	}
	diagnosis, err := explain.Diagnose(model.Model, data)
	if err != nil {
		return badInput("%s: %w", strings.Join(files, ", "), err)
	}
	if data.Fingerprint() != model.Fingerprint {
		e.warn([]string{"the record is not the one that the model was fitted to: 'evenpole fit' fits it anew"})
	}
	e.warn(diagnosis.Notes)
	written := []string{}
	for _, p := range report.Plots(diagnosis) {
		path := filepath.Join(o.out, p.Name)
		if err := writeFile(path, func(f *os.File) error { return p.Write(f) }); err != nil {
			return err
		}
		written = append(written, path)
		if !e.json {
			e.print("%s: %s", path, p.Title)
		}
	}
	if e.json {
		return e.writeJSON(map[string]any{"model": model.Kind, "pictures": written})
	}
	return nil
}
