// Package attacks repeats on the built program what once broke it: hostile
// files, full disks, killed processes, planted links, numbers beyond physics.
// Its tests are one table of faults with what is expected and what was seen.
// Each row does to the program what a stranger or bad luck would, from outside.
package attacks
