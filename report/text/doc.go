// Package text lays results out for a terminal: tables that fit a width, with
// units in the header and numbers rounded to what their interval supports, and
// sentences for what a table cannot say.
package text
