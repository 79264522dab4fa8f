package main

import (
	"bufio"
	"errors"
	"flag"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

var update = flag.Bool("update", false, "rewrite what the scripts compare with")

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"sumpbook": main})
}

// Each script plays at a data folder of its own, in Oslo, with a little book beside it to
// import. Besides testscript's own commands there are:
//
//	exits N ARGS…      runs sumpbook and wants this exit code
//	daemon NAME ARGS…  starts sumpbook ARGS and goes on when it listens; $NAME is its address
//	ends NAME          asks it to end and wants exit code 0
//	hook NAME CODE     a webhook peer that answers so; $NAME is its address
//	post URL BODY      sends JSON and wants an answer of success
func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir:                 filepath.Join("..", "..", "testdata", "script"),
		UpdateScripts:       *update,
		RequireUniqueNames:  true,
		RequireExplicitExec: true,
		Setup: func(env *testscript.Env) error {
			env.Setenv("SUMPBOOK_DATA", filepath.Join(env.WorkDir, "data"))
			env.Setenv("SUMPBOOK_TIMEZONE", "Europe/Oslo")
			env.Values[running{}] = map[string]*background{}
			return os.CopyFS(env.WorkDir, os.DirFS(filepath.Join("..", "..", "testdata", "script", "book")))
		},
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			"exits": exits, "daemon": startDaemon, "ends": endDaemon, "hook": hook, "post": post,
		},
	})
}

func exits(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: exits N ARGS…")
	}
	err := ts.Exec("sumpbook", args[1:]...)
	code := 0
	if e := (*exec.ExitError)(nil); errors.As(err, &e) {
		code = e.ExitCode()
	} else if err != nil {
		ts.Fatalf("run sumpbook: %v", err)
	}
	if strconv.Itoa(code) != args[0] {
		ts.Fatalf("exit code %d, want %s", code, args[0])
	}
}

// running is the key of the daemons that a script has started.
type running struct{}

type background struct {
	cmd *exec.Cmd
	log io.Reader
}

func startDaemon(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: daemon NAME ARGS…")
	}
	bin, err := exec.LookPath("sumpbook")
	ts.Check(err)
	cmd := exec.Command(bin, args[1:]...)
	cmd.Dir = ts.MkAbs(".")
	for _, name := range []string{"PATH", "HOME", "TMPDIR", "SUMPBOOK_DATA", "SUMPBOOK_TIMEZONE"} {
		cmd.Env = append(cmd.Env, name+"="+ts.Getenv(name))
	}
	stderr, err := cmd.StderrPipe()
	ts.Check(err)
	ts.Check(cmd.Start())
	ts.Defer(func() { _ = cmd.Process.Kill() }) // ended already, if all went well
	log := bufio.NewReader(stderr)
	ts.Value(running{}).(map[string]*background)[args[0]] = &background{cmd, log}
	for {
		line, err := log.ReadString('\n')
		ts.Logf("%s: %s", args[0], strings.TrimSuffix(line, "\n"))
		if err != nil {
			ts.Fatalf("%s does not listen: %v", args[0], err)
		}
		if _, rest, ok := strings.Cut(line, "listens on http://"); ok {
			address, _, _ := strings.Cut(rest, ",")
			ts.Setenv(args[0], address)
			return
		}
	}
}

func endDaemon(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: ends NAME")
	}
	b := ts.Value(running{}).(map[string]*background)[args[0]]
	ts.Check(b.cmd.Process.Signal(syscall.SIGTERM))
	rest, err := io.ReadAll(b.log)
	ts.Check(err)
	ts.Logf("%s: %s", args[0], rest)
	ts.Check(b.cmd.Wait())
}

func hook(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: hook NAME CODE")
	}
	code, err := strconv.Atoi(args[1])
	ts.Check(err)
	peer := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(code) }))
	ts.Defer(peer.Close)
	ts.Setenv(args[0], peer.URL)
}

func post(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: post URL BODY")
	}
	answer, err := http.Post(args[0], "application/json", strings.NewReader(args[1]))
	ts.Check(err)
	defer answer.Body.Close()
	said, err := io.ReadAll(answer.Body)
	ts.Check(err)
	ts.Logf("%s: %s", answer.Status, said)
	if answer.StatusCode >= 300 {
		ts.Fatalf("answered %s", answer.Status)
	}
}
