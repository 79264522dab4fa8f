//go:build unix

package notify

import (
	"context"
	"encoding/json"
	"io"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// script makes a program of these lines in a folder of its own, and a channel that runs it.
// The shell is named, since a file just written may be busy while other tests fork.
func script(t *testing.T, lines string, arguments ...string) (p *Program, dir string) {
	t.Helper()
	dir = t.TempDir()
	path := filepath.Join(dir, "bell")
	require.NoError(t, os.WriteFile(path, []byte("#!/bin/sh\ncd "+dir+"\n"+lines+"\n"), 0o700))
	p, err := NewProgram("bell", append([]string{"/bin/sh", path}, arguments...))
	require.NoError(t, err)
	return p, dir
}

func TestProgramReadsTheBodyOfAWebhook(t *testing.T) {
	p, dir := script(t, `cat > body; printf '%s|' "$@" > arguments; echo rang; echo twice >&2`, "a b", "$HOME", "*", "")
	p.argv = p.argv[1:] // run by its own path
	require.Equal(t, "bell", p.Name())
	m := drainMessage(noon)
	said, err := p.Send(t.Context(), m)
	require.NoError(t, err)
	require.Equal(t, "exit 0 rang twice", said)
	body, err := os.ReadFile(filepath.Join(dir, "body"))
	require.NoError(t, err)
	var got map[string]any
	require.NoError(t, json.Unmarshal(body, &got))
	require.Len(t, got, 4)
	require.Equal(t, m.ID, got["id"])
	require.Equal(t, "drain/north/s1", got["action"].(map[string]any)["id"])
	arguments, err := os.ReadFile(filepath.Join(dir, "arguments"))
	require.NoError(t, err)
	require.Equal(t, "a b|$HOME|*||", string(arguments), "no shell has read them")
}

func TestProgramIsToldLittleOfOurEnvironment(t *testing.T) {
	t.Setenv("SUMPBOOK_LISTEN", "127.0.0.1:1")
	t.Setenv("TOKEN_OF_ANOTHER", "hunter2")
	p, dir := script(t, "env > env; pwd")
	p.argv = []string{"/bin/sh", "-c", "env > " + dir + "/env; pwd; ls /proc/self/fd | wc -l"}
	said, err := p.Send(t.Context(), drainMessage(noon))
	require.NoError(t, err)
	require.True(t, strings.HasPrefix(said, "exit 0 / "), said)
	env, err := os.ReadFile(filepath.Join(dir, "env"))
	require.NoError(t, err)
	require.Contains(t, string(env), "PATH=")
	require.NotContains(t, string(env), "SUMPBOOK")
	require.NotContains(t, string(env), "hunter2")
}

func TestProgramAnswers(t *testing.T) {
	for name, c := range map[string]struct {
		lines, says string // says is empty: delivered
		permanent   bool
	}{
		"yes":                       {"exit 0", "", false},
		"does not read":             {"exec 0<&-", "", false},
		"asks to be tried again":    {"echo the line is busy; exit 75", ": exit status 75: the line is busy", false},
		"no":                        {"echo no such bell >&2; exit 3", ": exit status 3: no such bell", true},
		"no, without a word":        {"exit 1", ": exit status 1", true},
		"a word of its own missing": {"nothing-of-that-name", ": exit status 127: ", true},
		"is killed":                 {"kill -KILL $$", ": signal: killed", false},
		"says control characters":   {`printf 'a\033[2Jb\000c\n'; exit 1`, ": exit status 1: a [2Jb c", true},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			p, _ := script(t, c.lines)
			_, err := p.Send(t.Context(), drainMessage(noon))
			if c.says == "" {
				require.NoError(t, err)
				return
			}
			require.ErrorContains(t, err, "run "+p.argv[0]+c.says)
			if c.permanent {
				require.ErrorIs(t, err, ErrPermanent)
			} else {
				require.NotErrorIs(t, err, ErrPermanent)
			}
		})
	}
}

func TestProgramThatIsNone(t *testing.T) {
	dir := t.TempDir()
	for name, mode := range map[string]os.FileMode{"plain": 0o600, "nonsense": 0o700} {
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), []byte("\x00\x01 no program"), mode))
	}
	for name, says := range map[string]string{
		"absent": "no such file", "plain": "permission denied", "nonsense": "exec format error", "": "permission denied", "plain/x": "not a directory",
	} {
		p, err := NewProgram("bell", []string{filepath.Join(dir, name)})
		require.NoError(t, err)
		_, err = p.Send(t.Context(), drainMessage(noon))
		require.ErrorContains(t, err, says, name)
		require.Equal(t, 1, strings.Count(err.Error(), dir), "the path is told once")
		require.Equal(t, name != "plain/x", isPermanent(err), name)
	}
}

func isPermanent(err error) bool { return strings.Contains(err.Error(), ErrPermanent.Error()) }

// Ten MiB are read and thrown away but for their beginning, and are no failure.
func TestProgramThatFloods(t *testing.T) {
	p, _ := script(t, "head -c 10485760 /dev/zero | tr '\\0' 'o'")
	said, err := p.Send(t.Context(), drainMessage(noon))
	require.NoError(t, err)
	require.LessOrEqual(t, len(said), len("exit 0 ")+maxDetail+len("…"))
	require.True(t, strings.HasPrefix(said, "exit 0 ooo"), said)
	b := &beginning{}
	for range 1000 {
		n, err := b.Write(make([]byte, 1000))
		require.NoError(t, err)
		require.Equal(t, 1000, n)
	}
	require.Len(t, b.kept, maxAnswer)
}

// All of the group is told before it is ended, so that a child can put things right.
func TestProgramTellsItsChildren(t *testing.T) {
	p, dir := script(t, `sh -c 'trap "echo put right >heard; exit" TERM; echo waiting; while :; do sleep 0.01; done' & wait`)
	ctx, cancel := context.WithTimeout(t.Context(), 300*time.Millisecond)
	defer cancel()
	_, err := p.Send(ctx, drainMessage(noon))
	require.ErrorContains(t, err, "waiting")
	require.FileExists(t, filepath.Join(dir, "heard"))
}

// alive opens a pipe that a script's processes hold open; gone waits until none does.
func alive(t *testing.T, dir string) (gone func()) {
	t.Helper()
	path := filepath.Join(dir, "alive")
	require.NoError(t, syscall.Mkfifo(path, 0o600))
	f, err := os.OpenFile(path, os.O_RDONLY|syscall.O_NONBLOCK, 0)
	require.NoError(t, err)
	return func() {
		t.Helper()
		defer f.Close()
		require.NoError(t, f.SetReadDeadline(time.Now().Add(5*time.Second)))
		_, err := io.Copy(io.Discard, f)
		require.NoError(t, err, "something of the program still runs")
	}
}

// Whatever a program does when its time is over, all of its group is ended.
func TestProgramEndsWithItsContext(t *testing.T) {
	for name, lines := range map[string]string{
		"hangs":                         "exec 3>alive; echo waiting; exec sleep 1000",
		"hangs in a child":              "exec 3>alive; echo waiting; sleep 1000; exit 0",
		"floods without end":            "exec 3>alive; echo waiting; while :; do echo oil; done",
		"does not heed":                 "trap '' TERM; exec 3>alive; echo waiting; sleep 1000 & while :; do wait; done",
		"ends well when told to":        "trap 'exit 0' TERM; exec 3>alive; echo waiting; sleep 1000 & wait",
		"leaves a child that heeds not": "exec 3>alive; echo waiting; (trap '' TERM; sleep 1000; :) & wait",
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			p, dir := script(t, lines)
			gone := alive(t, dir)
			ctx, cancel := context.WithTimeout(t.Context(), 300*time.Millisecond)
			defer cancel()
			began := time.Now()
			_, err := p.Send(ctx, drainMessage(noon))
			require.Less(t, time.Since(began), programGrace+2*time.Second)
			require.ErrorContains(t, err, "it was ended, context deadline exceeded: waiting")
			require.NotErrorIs(t, err, ErrPermanent)
			gone()
		})
	}
}

// A program that has answered is not waited for longer than a moment because of a child, and
// takes the child along.
func TestProgramThatLeavesAChild(t *testing.T) {
	for name, c := range map[string]struct {
		lines     string
		delivered bool
	}{
		"with its output":    {"exec 3>alive; sleep 1000 & echo rang", true},
		"without its output": {"exec 3>alive; sleep 1000 >/dev/null 2>&1 & echo rang", true},
		"and fails":          {"exec 3>alive; sleep 1000 & echo rang; exit 3", false},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			p, dir := script(t, c.lines)
			gone := alive(t, dir)
			began := time.Now()
			said, err := p.Send(t.Context(), drainMessage(noon))
			require.Less(t, time.Since(began), programGrace+2*time.Second)
			if c.delivered {
				require.NoError(t, err)
				require.Equal(t, "exit 0 rang", said)
			} else {
				require.ErrorContains(t, err, "exit status 3: rang")
			}
			gone()
		})
	}
}

func TestProgramConfiguration(t *testing.T) {
	for _, argv := range [][]string{nil, {}, {""}, {"bell"}, {"./bell"}, {"../bin/bell", "x"}} {
		_, err := NewProgram("bell", argv)
		require.EqualError(t, err, "channel bell: command does not begin with the absolute path of a program")
	}
}
