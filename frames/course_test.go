package frames

import (
	"math"
	"math/rand/v2"
	"testing"
)

// However many frames there are, each is in one stretch: the stretches follow each other
// without a gap, their frames, time and longest frame are those of all, and their number is
// bounded.
func TestCourse(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	for _, n := range []int{0, 1, 2, 959, 960, 961, 2000, 100000} {
		times, total, longest := NewTimes(0), 0.0, 0.0
		var starts []float64
		for range n {
			s := 0.01 + 0.01*random.Float64()
			starts = append(starts, total)
			times.Add(s)
			total, longest = total+s, max(longest, s)
		}
		course := times.Course()
		if len(course) > mostStretches || n >= mostStretches && len(course) < mostStretches/2-1 || n < mostStretches && len(course) != n {
			t.Errorf("%d frames make %d stretches", n, len(course))
		}
		at, frames, most := 0.0, int64(0), 0.0
		for _, s := range course {
			if math.Abs(s.Start-at) > 1e-6 || s.Frames < 1 || s.Mean() > s.Longest+1e-12 || math.Abs(s.Start-starts[frames]) > 1e-9 {
				t.Fatalf("%d frames: %+v at %v", n, s, at)
			}
			at, frames, most = at+s.Total, frames+s.Frames, max(most, s.Longest)
		}
		if frames != int64(n) || most != longest || math.Abs(at-total) > 1e-6 {
			t.Errorf("%d frames of %v s: %d of %v s, longest %v, want %v", n, total, frames, at, most, longest)
		}
		for i := range max(0, len(course)-2) { // all but the last are about as long
			if a, b := course[i].Total, course[i+1].Total; a > 3*b+0.04 || b > 3*a+0.04 {
				t.Errorf("%d frames: %v s beside %v s", n, a, b)
			}
		}
	}
}

// One frame of a second among short ones has its place.
func TestCourseKeepsTheLongestFrame(t *testing.T) {
	times := NewTimes(0)
	for i := range 5000 {
		s := 0.01
		if i == 3000 {
			s = 1
		}
		times.Add(s)
	}
	for _, s := range times.Course() {
		if within := s.Start <= 30 && 30 < s.Start+s.Total; (s.Longest == 1) != within {
			t.Errorf("%+v", s)
		}
	}
}
