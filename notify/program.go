package notify

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"time"
)

const (
	programTimeout = 25 * time.Second
	programGrace   = 2 * time.Second // to end when told to, and to close its output
	exTempFail     = 75              // EX_TEMPFAIL of sysexits.h: the caller is asked to try again later
)

// A Program runs a program for each reminder, which reads it on its standard input as JSON,
// the body of a webhook.
type Program struct {
	name string
	argv []string
}

// NewProgram takes the program's absolute path and its arguments, as they are: no shell
// reads them.
func NewProgram(name string, argv []string) (*Program, error) {
	if len(argv) == 0 || !filepath.IsAbs(argv[0]) {
		return nil, fmt.Errorf("channel %s: command does not begin with the absolute path of a program", name)
	}
	return &Program{name: name, argv: argv}, nil
}

// Name is the channel's name in the configuration.
func (p *Program) Name() string { return p.name }

// Send runs the program until it ends, and says what it printed. Exit code 0 is a yes, 75
// asks to be tried again, and so are a signal and a time that ran out taken; any other code,
// and a program that is missing or may not be run, ends the tries. Whatever it has started
// in its process group ends with it.
func (p *Program) Send(ctx context.Context, m Message) (string, error) {
	body, err := m.forMachines()
	if err != nil {
		return "", err
	}
	ctx, cancel := context.WithTimeout(ctx, programTimeout)
	defer cancel()
	said := &beginning{}
	c := exec.CommandContext(ctx, p.argv[0], p.argv[1:]...)
	c.Stdin, c.Stdout, c.Stderr = bytes.NewReader(body), said, said
	c.Env, c.Dir = environment(), string(filepath.Separator)
	c.WaitDelay = programGrace
	asGroup(c)
	if err := c.Start(); err != nil {
		return "", p.unstarted(err)
	}
	err = c.Wait()
	endGroup(c)
	return p.judge(ctx, err, m.tokens().cut(said.String()))
}

// unstarted judges why a program did not start: the want of memory heals, a wrong path does
// not.
func (p *Program) unstarted(err error) error {
	told := fmt.Errorf("run %s: %s", p.argv[0], secrets{}.cut(bare(err).Error()))
	if errors.Is(err, fs.ErrNotExist) || errors.Is(err, fs.ErrPermission) || isNoProgram(err) {
		return fmt.Errorf("%w: %w", told, ErrPermanent)
	}
	return told
}

// bare leaves out the path, which is told already.
func bare(err error) error {
	if at, ok := errors.AsType[*fs.PathError](err); ok {
		return at.Err
	}
	return err
}

func (p *Program) judge(ctx context.Context, err error, said string) (string, error) {
	if err == nil || errors.Is(err, exec.ErrWaitDelay) && ctx.Err() == nil { // it has ended well; what it left behind held its output open
		return strings.TrimSpace("exit 0 " + said), nil
	}
	if ctx.Err() != nil {
		return "", p.tell(fmt.Sprintf("it was ended, %s", ctx.Err()), said)
	}
	exit, ok := errors.AsType[*exec.ExitError](err)
	if !ok {
		return "", p.tell(err.Error(), said)
	}
	told := p.tell(exit.ProcessState.String(), said) // exit status 3, or signal: killed
	if exit.Exited() && exit.ExitCode() != exTempFail {
		return "", fmt.Errorf("%w: %w", told, ErrPermanent)
	}
	return "", told
}

func (p *Program) tell(what, said string) error {
	if said != "" {
		what += ": " + said
	}
	return fmt.Errorf("run %s: %s", p.argv[0], what)
}

// environment is what a program is told of ours: where programs and its home are, and the
// zone and language of the machine. The daemon's own may hold more than is its business.
func environment() []string {
	var env []string
	for _, name := range []string{"PATH", "HOME", "USER", "LANG", "LC_ALL", "TZ", "TMPDIR", "SYSTEMROOT"} {
		if value, ok := os.LookupEnv(name); ok {
			env = append(env, name+"="+value)
		}
	}
	return env
}

// A beginning keeps the first of what is written to it, and takes the rest without a word,
// so that a program which talks much is not stopped by it.
type beginning struct{ kept []byte }

func (b *beginning) Write(p []byte) (int, error) {
	b.kept = append(b.kept, p[:min(len(p), maxAnswer-len(b.kept))]...)
	return len(p), nil
}

func (b *beginning) String() string { return string(b.kept) }
