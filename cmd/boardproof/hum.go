package main

import "github.com/spf13/cobra"

func (a *app) humCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "hum",
		Short: "Find out what hums, from where, and what cures it",
		Args:  noArgs,
		RunE:  func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	cmd.AddCommand(a.humWatchCommand(), a.humHuntCommand(), a.humShowCommand(), a.humListCommand())
	return cmd
}
