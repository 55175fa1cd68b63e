package main

import (
	"fmt"
	"os"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"boardproof/db"
)

// checkTexts refuses arguments and flags that hold what nobody sees, or are
// endless, before anything is done with them.
func checkTexts(cmd *cobra.Command, args []string) (err error) {
	check := func(what, text string) {
		how := db.TextFault(text, db.MaxNotes, true)
		if how == "" || err != nil {
			return
		}
		if _, none := os.Lstat(text); none != nil { // a file that is there may be called as it likes
			err = wrongUsef("%s %s", what, how)
		}
	}
	for i, arg := range args {
		check(fmt.Sprintf("argument %d", i+1), arg)
	}
	cmd.Flags().Visit(func(f *pflag.Flag) { check("--"+f.Name, flagText(f)) })
	return err
}

// flagText is a flag as it was given: lists are shown quoted otherwise.
func flagText(f *pflag.Flag) string {
	if list, ok := f.Value.(pflag.SliceValue); ok {
		return strings.Join(list.GetSlice(), "\n")
	}
	return f.Value.String()
}
