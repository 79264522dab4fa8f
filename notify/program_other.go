//go:build !unix

package notify

import "os/exec"

// Without process groups only the program itself is ended.
func asGroup(*exec.Cmd) {}

func endGroup(*exec.Cmd) {}

func isNoProgram(error) bool { return false }
