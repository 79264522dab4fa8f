package main

import (
	"bufio"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"syscall"
	"testing"

	"github.com/stretchr/testify/require"

	"sumpbook/config"
	"sumpbook/maintenance"
)

func atRoot(t *testing.T, name string) string {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("..", "..", name))
	require.NoError(t, err)
	return string(b)
}

var fenced = regexp.MustCompile("(?ms)^```(\\w+)\n(.*?)^```$")

// The console blocks of the README are one play, at one book, from top to bottom. What a
// command shows there is what it prints, … standing for what is never the same twice. A
// command that shows nothing must only succeed.
func TestTheREADMEPlays(t *testing.T) {
	for _, program := range []string{"bash", "curl", "jq", "sha256sum"} {
		if _, err := exec.LookPath(program); err != nil {
			t.Skipf("skipped: no %s on this machine", program)
		}
	}
	s := &stage{folder: t.TempDir(), address: usualAddress}
	blocks := fenced.FindAllStringSubmatch(atRoot(t, "README.md"), -1)
	played := 0
	for _, b := range blocks {
		if b[1] == "console" {
			played += s.play(t, b[2])
		}
	}
	require.Greater(t, played, 10, "the README shows commands")
}

// Every configuration that the README shows is one; together they show each type of channel.
func TestTheREADMEsConfigurationsAreSuch(t *testing.T) {
	var sources, people int
	shown := map[string]bool{}
	for _, b := range fenced.FindAllStringSubmatch(atRoot(t, "README.md"), -1) {
		if b[1] != "yaml" {
			continue
		}
		file := filepath.Join(t.TempDir(), "sumpbook.yaml")
		require.NoError(t, os.WriteFile(file, []byte(b[2]), 0o600))
		c, err := config.Load(config.Options{File: file, Explicit: true})
		require.NoError(t, err)
		require.NotEmpty(t, c.Channels)
		require.Empty(t, c.Warnings)
		sources, people = sources+len(c.Sources), people+len(c.People)
		for _, ch := range c.Channels {
			shown[ch.Type] = true
		}
	}
	require.NotZero(t, sources)
	require.NotZero(t, people)
	for _, kind := range []string{"webhook", "smtp", "mqtt", "program", "desktop", "webpush"} {
		require.True(t, shown[kind], kind)
	}
}

func TestCIRunsTheREADMEsTestLine(t *testing.T) {
	line := regexp.MustCompile(`(?m)^ *(go test .*)$`).FindStringSubmatch(atRoot(t, "README.md"))
	require.NotNil(t, line)
	require.Contains(t, atRoot(t, ".ci/run"), " "+line[1]+" >")
}

// The table of limits in DEVELOPERS.md is that of the code.
func TestDEVELOPERSTellsEveryLimit(t *testing.T) {
	text := atRoot(t, "DEVELOPERS.md")
	for _, l := range maintenance.LimitSpecs() {
		byDefault := "unset"
		if l.Default != nil {
			byDefault = trimmed(*l.Default) + suffix(l.Unit)
		}
		require.Contains(t, text, fmt.Sprintf("| `%s` | %s | %s | %s |\n", l.Key, byDefault, l.Meaning, l.Source))
	}
}

const usualAddress = "127.0.0.1:8417"

// A stage is the folder in which the README plays, and where its daemon listens.
type stage struct{ folder, address string }

// play performs a block, and counts its commands.
func (s *stage) play(t *testing.T, block string) (commands int) {
	for part := range strings.SplitSeq("\n"+block, "\n$ ") {
		command, shown, _ := strings.Cut(part, "\n")
		if command == "" {
			continue
		}
		commands++
		if serve, isDaemon := strings.CutSuffix(command, " &"); isDaemon {
			s.start(t, serve)
			continue
		}
		out, err := s.bash(command).CombinedOutput()
		require.NoError(t, err, "%s\n%s", command, out)
		if shown = strings.TrimRight(shown, "\n"); shown != "" {
			printed := strings.TrimRight(strings.ReplaceAll(string(out), s.address, usualAddress), "\n") + "\n"
			require.Regexp(t, pattern(shown), printed, command)
		}
	}
	return commands
}

// pattern takes … for anything in its line, and a line of it for any lines.
func pattern(shown string) string {
	p := regexp.QuoteMeta(shown + "\n")
	p = regexp.MustCompile(`(?m)^…\n`).ReplaceAllString(p, `(?:.*\n)*`)
	return "^" + strings.ReplaceAll(p, "…", ".*") + "$"
}

func (s *stage) bash(command string) *exec.Cmd {
	c := exec.Command("bash", "-euo", "pipefail", "-c", strings.ReplaceAll(command, usualAddress, s.address))
	c.Dir = s.folder
	c.Env = []string{
		"PATH=" + os.Getenv("PATH"), "HOME=" + s.folder, "TMPDIR=" + s.folder, "LC_ALL=C.UTF-8", "GORACE=" + os.Getenv("GORACE"),
		"SUMPBOOK_DATA=" + filepath.Join(s.folder, "data"), "SUMPBOOK_LISTEN=127.0.0.1:0", "SUMPBOOK_TIMEZONE=Europe/Oslo",
	}
	return c
}

// start runs the daemon until the play ends, and goes on when it listens.
func (s *stage) start(t *testing.T, command string) {
	c := s.bash("exec " + command)
	stderr, err := c.StderrPipe()
	require.NoError(t, err)
	require.NoError(t, c.Start())
	log := bufio.NewReader(stderr)
	t.Cleanup(func() {
		require.NoError(t, c.Process.Signal(syscall.SIGTERM))
		_, err := io.Copy(io.Discard, log)
		require.NoError(t, err)
		require.NoError(t, c.Wait())
	})
	for {
		line, err := log.ReadString('\n')
		require.NoError(t, err, "the daemon does not listen: %s", line)
		if _, rest, ok := strings.Cut(line, "listens on http://"); ok {
			s.address, _, _ = strings.Cut(rest, ",")
			return
		}
	}
}
