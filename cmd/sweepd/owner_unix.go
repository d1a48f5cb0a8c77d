//go:build unix

package main

import (
	"fmt"
	"os"
	"os/user"
	"strconv"
	"syscall"

	"sweepd/testday"
)

// ownerOf says whose a file is, "" where that cannot be told.
func ownerOf(path string) string {
	info, err := os.Stat(path)
	if err != nil {
		return ""
	}
	s := info.Sys().(*syscall.Stat_t)
	return fmt.Sprintf("of user %s, group %s, mode %03o", userName(s.Uid), groupName(s.Gid), info.Mode().Perm())
}

func userName(id uint32) string {
	text := strconv.FormatUint(uint64(id), 10)
	if u, err := user.LookupId(text); err == nil {
		return u.Username
	}
	return text
}

func groupName(id uint32) string {
	text := strconv.FormatUint(uint64(id), 10)
	if g, err := user.LookupGroupId(text); err == nil {
		return g.Name
	}
	return text
}

// holderOf is whose the data of this process's agent is; the file is that of the right to
// change it.
func holderOf(dir, file string) testday.Holder {
	h := testday.Holder{Data: dir, User: userName(uint32(os.Geteuid()))}
	if info, err := os.Stat(file); err == nil {
		h.Group = groupName(info.Sys().(*syscall.Stat_t).Gid)
	}
	return h
}

// howToGetRight says who may change what an agent keeps, and how to become one of them.
func howToGetRight(h testday.Holder) string {
	me := userName(uint32(os.Geteuid()))
	if h.Group == "" || h.Group == "root" { // a group that nobody should join
		return fmt.Sprintf("it is run by %s, and you are %s: put sudo before the command", h.User, me)
	}
	return fmt.Sprintf("user %s may, root (sudo), and the members of the group %s; you are %s. To join: sudo usermod -aG %s %s, then log in anew", h.User, h.Group, me, h.Group, me)
}

// howToRunWorkloads says how somebody without the right becomes one who may carry out
// workloads, which root does not.
func howToRunWorkloads(h testday.Holder) string {
	if h.Group == "" || h.Group == "root" {
		return fmt.Sprintf("it is run by %s, and you are %s; workloads are carried out by a user who has this right, and not as root. Run the agent as yourself, or as the service of a package, whose group %s may join", h.User, userName(uint32(os.Geteuid())), userName(uint32(os.Geteuid())))
	}
	me := userName(uint32(os.Geteuid()))
	return fmt.Sprintf("members of the group %s may, and carry out the workloads; you are %s. To join: sudo usermod -aG %s %s, then log in anew", h.Group, me, h.Group, me)
}
