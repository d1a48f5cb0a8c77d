package main

import (
	"os/user"

	"sweepd/testday"
)

// ownerOf says whose a file is; here the error of the system has to do.
func ownerOf(string) string { return "" }

// holderOf is whose the data of this process's agent is.
func holderOf(dir, _ string) testday.Holder {
	h := testday.Holder{Data: dir, Group: "Administrators"}
	if u, err := user.Current(); err == nil {
		h.User = u.Username
	}
	return h
}

// howToGetRight says who may change what an agent keeps, and how to become one of them.
func howToGetRight(h testday.Holder) string {
	return "its user may, and administrators: run the command in a terminal that was opened as administrator"
}

// howToRunWorkloads says how somebody without the right becomes one who may carry out workloads.
func howToRunWorkloads(h testday.Holder) string { return howToGetRight(h) }
