// Package frames makes results of frame times: how fast frames came and how
// evenly.
//
// A frame time is the time from one frame to the next. Read takes them from
// delimited text, one a row, as frame times or as timestamps of which the
// differences count. Times gathers them in bounded memory, and Summary says what
// they amount to, in rates (frames per second, fps) and times (milliseconds).
//
// Two figures are in use for the slowest 1 % (or 0.1 %) of frames, and they differ.
// Here the edge is the rate at the frame time that this share of the frames exceeds,
// a percentile; the mean is the rate over these frames alone, the reciprocal of their
// mean frame time. The mean is never above the edge by more than the step between
// two neighbouring frame times.
package frames
