//go:build unix

package notify

import (
	"errors"
	"os/exec"
	"syscall"
)

// asGroup makes a program the leader of a process group, and lets the end of its context
// end the whole group: politely at first, and what does not heed that by endGroup.
func asGroup(c *exec.Cmd) {
	c.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	c.Cancel = func() error { return syscall.Kill(-c.Process.Pid, syscall.SIGTERM) }
}

// endGroup ends what is left of the group of a program that has ended. That there is
// nothing left is the usual case, and no error.
func endGroup(c *exec.Cmd) { _ = syscall.Kill(-c.Process.Pid, syscall.SIGKILL) }

// isNoProgram says whether the file is none that this machine can run.
func isNoProgram(err error) bool { return errors.Is(err, syscall.ENOEXEC) }
