// Command notices keeps LICENSE: our own licence, and the notices of everything that is
// linked into the program on any system. Without flags it says whether LICENSE is what it
// would write; with -write it writes it.
package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
)

// systems are those the program is built for; what is linked differs.
var systems = []string{"linux", "darwin", "windows"}

// chosen names the file of a licence where a module leaves the choice.
var chosen = map[string]string{"github.com/eclipse/paho.golang": "edl-v10"}

const head = `

===============================================================================

sumpbook: Copyright 2026 the sumpbook authors, under the licence above.

The program that is built from this source contains, beside it, the works listed
below, each under its own licence. The time zones are those of the tz database,
which is in the public domain.
`

func main() {
	write := flag.Bool("write", false, "write LICENSE")
	flag.Parse()
	if err := run(*write); err != nil {
		fmt.Fprintln(os.Stderr, "notices:", err)
		os.Exit(1)
	}
}

func run(write bool) error {
	have, err := os.ReadFile("LICENSE")
	if err != nil {
		return err
	}
	own, _, _ := bytes.Cut(have, []byte(head))
	works, err := linked()
	if err != nil {
		return err
	}
	want := slices.Concat(bytes.TrimRight(own, "\n"), []byte(head), []byte(notices(works)))
	switch {
	case write:
		return os.WriteFile("LICENSE", want, 0o644)
	case !bytes.Equal(have, want):
		return errors.New("LICENSE does not name what is linked: go run .ci/notices.go -write, and read what changed")
	}
	return nil
}

// A work is one licence file of something linked.
type work struct{ name, file, text string }

// linked reads the licences between each linked package and the root of its module. The
// language's own library and runtime are one work.
func linked() ([]work, error) {
	files := map[string]work{}
	for _, system := range systems {
		packages, err := packagesOn(system)
		if err != nil {
			return nil, err
		}
		for _, p := range packages {
			if p.Module.Main || p.Module.Dir == "" {
				continue
			}
			found, err := p.licences()
			if err != nil {
				return nil, err
			}
			maps.Copy(files, found)
		}
	}
	root, err := exec.Command("go", "env", "GOROOT").Output()
	if err != nil {
		return nil, fmt.Errorf("find the language's own licence: %w", err)
	}
	language, err := os.ReadFile(filepath.Join(strings.TrimSpace(string(root)), "LICENSE"))
	files[""] = work{"the Go standard library and runtime", "LICENSE", string(language)}
	return slices.SortedFunc(maps.Values(files), func(a, b work) int { return strings.Compare(a.name+a.file, b.name+b.file) }), err
}

type goPackage struct {
	Dir    string
	Module struct {
		Path, Dir string
		Main      bool
	}
}

func packagesOn(system string) (all []goPackage, err error) {
	list := exec.Command("go", "list", "-deps", "-json=Dir,Module", "./cmd/sumpbook")
	list.Env = append(os.Environ(), "GOOS="+system, "CGO_ENABLED=0")
	list.Stderr = os.Stderr
	out, err := list.Output()
	if err != nil {
		return nil, fmt.Errorf("list what is linked on %s: %w", system, err)
	}
	for d := json.NewDecoder(bytes.NewReader(out)); ; {
		var p goPackage
		if err := d.Decode(&p); err != nil {
			if errors.Is(err, io.EOF) {
				err = nil
			}
			return all, err
		}
		all = append(all, p)
	}
}

var licenceName = regexp.MustCompile(`^(LICEN[CS]E|NOTICE|COPYING)(\.txt|\.md)?$`)

// licences are those in the folder of the package and in each above it.
func (p goPackage) licences() (map[string]work, error) {
	found := map[string]work{}
	for dir := p.Dir; strings.HasPrefix(dir, p.Module.Dir); dir = filepath.Dir(dir) {
		entries, err := os.ReadDir(dir)
		if err != nil {
			return nil, err
		}
		inside, _ := filepath.Rel(p.Module.Dir, dir) // it has that prefix
		for _, e := range entries {
			wanted := licenceName.MatchString(e.Name())
			if choice := chosen[p.Module.Path]; choice != "" && inside == "." {
				wanted = e.Name() == choice
			}
			if !wanted || e.IsDir() {
				continue
			}
			text, err := os.ReadFile(filepath.Join(dir, e.Name()))
			if err != nil {
				return nil, err
			}
			found[filepath.Join(dir, e.Name())] = work{filepath.ToSlash(filepath.Join(p.Module.Path, inside)), e.Name(), string(text)}
		}
	}
	if len(found) == 0 {
		return nil, fmt.Errorf("%s has no licence", p.Module.Path)
	}
	return found, nil
}

// notices prints each licence once, under the works that it covers.
func notices(works []work) string {
	var b strings.Builder
	var order []string
	same := map[string][]work{}
	for _, w := range works {
		key := w.body()
		if len(same[key]) == 0 {
			order = append(order, key)
		}
		same[key] = append(same[key], w)
	}
	for _, key := range order {
		b.WriteString("\n-------------------------------------------------------------------------------\n\n")
		for _, w := range same[key] {
			fmt.Fprintln(&b, w.name)
			for _, line := range w.copyrights() {
				fmt.Fprintln(&b, "    "+line)
			}
		}
		fmt.Fprintf(&b, "\n%s\n", same[key][0].terms())
	}
	return b.String()
}

const apache = "under the Apache License, Version 2.0, the licence above"

var (
	isApache  = regexp.MustCompile(`^\s*Apache License\s+Version 2\.0, January 2004`)
	copyright = regexp.MustCompile(`(?m)^[ \t]*Copyright (?:\(c\)|\(C\)|©|[0-9]).*\n`)
	title     = regexp.MustCompile(`(?im)^(the )?mit license( \(mit\))?\s*\n`)
	blanks    = regexp.MustCompile(`\n{3,}`)
)

// copyrights are the lines of a licence that differ from work to work.
func (w work) copyrights() (lines []string) {
	if isApache.MatchString(w.text) {
		return nil // those in its appendix are an example
	}
	for _, line := range copyright.FindAllString(w.text, -1) {
		lines = append(lines, strings.TrimSpace(line))
	}
	return lines
}

// terms are the rest of it.
func (w work) terms() string {
	if isApache.MatchString(w.text) {
		return apache
	}
	text := strings.ReplaceAll(w.text, "\r\n", "\n")
	text = title.ReplaceAllString(copyright.ReplaceAllString(text, ""), "")
	return strings.Trim(blanks.ReplaceAllString(text, "\n\n"), "\n")
}

// body is what two copies of the same licence have in common, however they break lines.
func (w work) body() string { return strings.ToLower(strings.Join(strings.Fields(w.terms()), " ")) }
