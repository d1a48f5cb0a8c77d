package collectors

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/hex"
	"strings"

	"github.com/google/uuid"

	"sweepd/run"
)

// applicationID is what sweepd's ids of machines are made with: a random UUID, which
// must never change, or every machine would become another one.
var applicationID = uuid.MustParse("b1f0d0a7-5e0c-4c0f-9c53-6a3f7c0e92d4")

// applicationSpecific hides an id of a machine: HMAC-SHA256 with the id as the key over
// the application's, the first 16 bytes as a UUID of version 4, as
// sd_id128_get_machine_app_specific(3) does. machine-id(5) asks for a keyed hash before
// the id leaves the machine, for whoever knows it could follow the machine elsewhere.
func applicationSpecific(id uuid.UUID) string {
	mac := hmac.New(sha256.New, id[:])
	mac.Write(applicationID[:])
	sum := mac.Sum(nil)[:16]
	sum[6] = sum[6]&0x0f | 0x40
	sum[8] = sum[8]&0x3f | 0x80
	return hex.EncodeToString(sum)
}

// hiddenID hides the id that a text holds; "" for none, and for one that says nothing:
// all 0 and all F stand for an id that is not there (SMBIOS 7.2.1), the last for the one
// that a widespread firmware holds where nobody gave one (common practice, no source).
func hiddenID(text string) string {
	text = strings.TrimSpace(text)
	id, err := uuid.Parse(text)
	switch {
	case err != nil, id == uuid.Nil, id == uuid.Max, id == uuid.MustParse("03000200-0400-0500-0006-000700080009"):
		return ""
	}
	return applicationSpecific(id)
}

// etcReadable tells whether /etc is that of the machine whose /sys is read: it is not in
// a container that only has the latter.
func (r Roots) etcReadable() bool { return r.Etc != "" || r.Sys == "" }

// readMachine reads by what a machine is known again, hidden.
func (f facts) readMachine(roots Roots) {
	if roots.etcReadable() {
		f.set(run.FactSystemID, roots.systemID())
	}
	f.set(run.FactHardwareID, roots.hardwareID())
}

// ReadMachine tells which machine this is, and the hidden id by which its name is told
// from others: the one that every user can read.
func ReadMachine(roots Roots) (m run.Machine, id string) {
	f := ReadFacts(roots)
	m = run.MachineOf(f)
	if id = m.SystemID; id == "" {
		id = m.HardwareID
	}
	return m, id
}
