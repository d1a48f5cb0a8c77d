// Package testday is what a person does on a test day, one file for each: start a
// run, stop it, or have it recorded around a command (watch); correct it, reject it,
// keep it; plan the day and ask what is next; see what needs a look; compare, ask
// for the curve or the battery, gather what a report needs; import, merge, export.
//
// Commands, the handlers of the API and whoever else does a test day call these, and
// add flags, HTTP or a page to them. Each changes the data in one transaction, or not
// at all. A running agent is in this process or at the other end of a connection, see
// Agent. What a function returns can leave as JSON: lists and maps are never nil.
package testday
