package run

// Declaration is a setting that somebody declared for a device, until it is declared
// anew. An unknown setting means that none is declared.
type Declaration struct {
	Setting Setting   `json:"setting"`
	At      Timestamp `json:"at"` // when
	By      string    `json:"by"` // what declared it: a command, or "the API"
	// Restarted tells that the machine was started anew since: its firmware may have gone
	// back to another setting. It is not stored.
	Restarted bool `json:"restarted"`
}
