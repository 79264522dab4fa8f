package main

import (
	"context"
	"errors"
	"fmt"

	"sumpbook/config"
	"sumpbook/daemon"
	"sumpbook/maintenance"
	"sumpbook/maintenance/physics"
)

// A usageError is a command line that cannot be meant, with what would be right.
type usageError struct{ says, hint string }

func (e *usageError) Error() string { return e.says }

func usage(says, hint string) error { return &usageError{says, hint} }

// A hinted error is a failure with what to do about it.
type hinted struct {
	error
	hint string
}

func (h hinted) Unwrap() error { return h.error }

// exitCode is an answer that is told by the exit code, everything having been said.
type exitCode int

func (e exitCode) Error() string { return fmt.Sprintf("exit %d", int(e)) }

// exit shows an error in two lines and gives its exit code.
func (p *program) exit(err error) int {
	var code exitCode
	var wrong *usageError
	var badCalc physics.UsageError
	switch {
	case err == nil:
		return done
	case errors.As(err, &code):
		return int(code)
	case errors.Is(err, context.Canceled):
		p.complain("interrupted", "")
		return refused
	case errors.As(err, &wrong):
		p.complain(err.Error(), wrong.hint)
		return misused
	case errors.As(err, &badCalc):
		p.complain(err.Error(), hintOf(err))
		return misused
	}
	var c *config.Problem
	if errors.As(err, &c) { // its own text has the hint in it
		bare := *c
		bare.Hint = ""
		err = hinted{&bare, c.Hint}
	}
	p.complain(err.Error(), hintOf(err))
	var o *offer
	if errors.As(err, &o) {
		for _, line := range o.lines {
			fmt.Fprintf(p.err, "  %s\n", inline(line))
		}
	}
	return refused
}

// hintOf is what would be right, where the error knows it.
func hintOf(err error) string {
	var h hinted
	var r *maintenance.Rejection
	var answered *daemon.Problem
	switch {
	case errors.As(err, &h):
		return h.hint
	case errors.As(err, &r):
		return r.Hint
	case errors.As(err, &answered):
		return answered.Hint
	}
	return ""
}

func (p *program) complain(says, hint string) {
	fmt.Fprintf(p.err, "sumpbook: %s\n", inline(p.local(says)))
	if hint != "" {
		fmt.Fprintf(p.err, "hint: %s\n", inline(p.local(hint)))
	}
}

// local tells times as the person's clock does, once that is known.
func (p *program) local(text string) string {
	if p.person.zone == nil {
		return text
	}
	return p.person.local(text)
}

// talk tells what is not the answer.
func (p *program) talk(format string, args ...any) {
	if !p.quiet {
		fmt.Fprintln(p.err, inline(fmt.Sprintf(format, args...)))
	}
}
