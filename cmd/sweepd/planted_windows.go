package main

// plantedBy says that a folder which this command does not name itself could be anybody's.
func plantedBy(string) string { return "that is another folder than this command's own" }
