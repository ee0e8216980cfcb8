package main

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/pflag"

	"catchlight/render/job"
)

// overwriteFlag adds the one word, of all commands that write, that lets them write over what they did not make.
func overwriteFlag(fl *pflag.FlagSet, v *bool) {
	fl.BoolVar(v, "overwrite", false, "write over files, and into folders, that this command did not make")
}

// ownReport refuses a report's file that is there and is no report of this program.
func ownReport(path string, overwrite bool) error {
	if overwrite {
		return nil
	}
	data, err := os.ReadFile(path)
	if err != nil || len(data) == 0 {
		return nil // what can't be read is told where it is written
	}
	var r struct {
		Program string `json:"program"`
	}
	if json.Unmarshal(data, &r) != nil || !strings.HasPrefix(r.Program, "catchlight ") {
		return &job.TakenError{Msg: fmt.Sprintf("%s: this file would be written over, and it is no report of this program; name another with --stats, or give --overwrite", path)}
	}
	return nil
}

// madeBy reads what an earlier run of a command says in a folder's file that it made there; nil where there is none, or it
// is of something else.
func madeBy(dir, file string, names func(data []byte) []string) func(string) bool {
	data, err := os.ReadFile(filepath.Join(dir, file))
	if err != nil {
		return nil
	}
	list := names(data)
	if len(list) == 0 {
		return nil
	}
	made := map[string]bool{file: true}
	for _, n := range list {
		made[n] = true
	}
	return func(name string) bool { return made[name] }
}
