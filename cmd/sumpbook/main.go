// Command sumpbook keeps the book of vacuum-pump oil: words in, words out.
//
// It only reads words, asks the book (through the daemon where one runs, else on the file)
// and prints what it says. What the oil is and needs is decided in package maintenance.
// stdout holds the answer alone, stderr the talk; the exit codes are 0 done, 1 refused or
// failed, 2 wrong usage, and those of next --check.
package main

import (
	"context"
	"os"
	"os/signal"
	"syscall"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := run(ctx, os.Args[1:], os.Stdin, os.Stdout, os.Stderr)
	stop()
	os.Exit(code)
}
