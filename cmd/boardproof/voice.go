package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"

	"boardproof/cmd/boardproof/internal/report"
)

// voice is how the program speaks: in words, or in JSON. It is chosen once.
type voice interface {
	// result shows what came of a command: doc, or what words print of it.
	result(doc any, words func() error) error
	// meanwhile shows in words what came of a part, before all of it is there.
	meanwhile(words func())
	// besides is where goes what is for people and no result.
	besides() io.Writer
	// complain says why a command failed, and with which code it ends.
	complain(why string, code int)
}

// voice is the one that was asked for.
func (a *app) voice() voice {
	if a.json {
		return jsonVoice{a}
	}
	return textVoice{a}
}

// show shows what came of a command in the voice that was asked for: doc, or
// what words print of it.
func (a *app) show(doc any, words func() error) error { return a.voice().result(doc, words) }

type textVoice struct{ *app }

func (v textVoice) result(_ any, words func() error) error { return words() }

func (v textVoice) meanwhile(words func()) { words() }

func (v textVoice) besides() io.Writer { return v.out }

func (v textVoice) complain(why string, _ int) {
	fmt.Fprintf(report.Seen{To: v.err}, "error: %s\n", why)
}

type jsonVoice struct{ *app }

// result writes a document on a line.
func (v jsonVoice) result(doc any, _ func() error) error {
	if d, ok := doc.(report.Document); ok {
		return report.Write(report.Seen{To: v.out}, d)
	}
	b, err := json.Marshal(doc)
	if err != nil {
		return fmt.Errorf("encoding as JSON: %w", err)
	}
	_, err = fmt.Fprintln(report.Seen{To: v.out}, string(b))
	return err
}

func (v jsonVoice) meanwhile(func()) {}

func (v jsonVoice) besides() io.Writer { return v.err }

// complaint is an error as JSON, on the error stream.
type complaint struct {
	Format string `json:"format"`
	Error  string `json:"error"`
	Exit   int    `json:"exit"`
}

func (v jsonVoice) complain(why string, code int) {
	b, err := json.Marshal(complaint{report.Format, why, code})
	if err != nil {
		textVoice(v).complain(why, code)
		return
	}
	fmt.Fprintln(report.Seen{To: v.err}, string(b))
}

// whyOf is an error in one line.
func whyOf(err error, stopped bool) string {
	if stopped && errors.Is(err, context.Canceled) {
		return "stopped; the output is silent and nothing of this was kept"
	}
	return strings.TrimSpace(err.Error())
}
