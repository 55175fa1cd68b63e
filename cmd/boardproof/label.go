package main

import (
	"github.com/spf13/cobra"

	"boardproof/cmd/boardproof/internal/report/sheet"
	"boardproof/cmd/boardproof/internal/workshop"
	"boardproof/db"
)

func (a *app) labelCommand() *cobra.Command {
	var width int
	var out string
	cmd := &cobra.Command{
		Use:   "label RUN",
		Short: "Make a label with the verdict and a QR code of the run, 62 or 24 mm wide",
		Long: "Make a PDF for a label printer: the board, its serial, the date, the verdict, and the run's\n" +
			"identity as a QR code (\"boardproof run RUN\" and the first 16 digits of its digest).",
		Args: exactArgs("a run's name"),
		RunE: func(cmd *cobra.Command, args []string) error {
			kinds := map[int]sheet.Kind{62: sheet.Label62, 24: sheet.Label24}
			if kinds[width] == "" {
				return wrongUsef("--width %d is neither 62 nor 24", width)
			}
			return a.withWorkshop(cmd.Context(), db.OpenReading, func(w *workshop.Workshop) error {
				source, err := sheetSource(cmd.Context(), w, args[0])
				if err != nil {
					return err
				}
				suffix := map[int]string{62: "-label-62mm", 24: "-label-24mm"}[width]
				o := sheet.Options{Kind: kinds[width], Form: sheet.PDF}
				return a.writePapers(source, []paperFile{{path: defaultPath(w.Store, source.Run, suffix, sheet.PDF), options: o}}, out)
			})
		},
	}
	cmd.Flags().IntVar(&width, "width", 62, "the label's width in millimetres: 62 or 24")
	cmd.Flags().StringVar(&out, "out", "", "a file ending in .pdf, or a folder (default: beside the database)")
	return cmd
}
