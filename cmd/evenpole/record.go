package main

import (
	"evenpole/capture/record"

	"github.com/spf13/cobra"
)

func newRecordCmd(e *env) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "record",
		Short: "List and verify the shop's record, correct it, take readings back, import and export",
		Long: `Works on readings.csv and fields.csv, which only ever grow: what is corrected,
taken back or brought in is added, and nothing that stands there is changed.`,
		Args: cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			return withHint(badInput("which of verify, seal, amend, retract, import, export, list, show and sessions?"), "see 'evenpole help record'")
		},
	}
	cmd.AddCommand(newListCmd(e), newShowCmd(e), newSessionsCmd(e), newVerifyCmd(e), newSealCmd(e), newAmendCmd(e), newRetractCmd(e), newImportCmd(e), newExportCmd(e))
	return cmd
}

// recordFile is the file of readings, or that of field readings.
func recordFile(fields bool) string {
	if fields {
		return record.FieldsFile
	}
	return record.ReadingsFile
}
