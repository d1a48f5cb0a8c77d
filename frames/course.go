package frames

// mostStretches is how many stretches of time a course has at most, and half of it at least
// once there were so many frames.
const mostStretches = 960

// Stretch is the frames of a stretch of time.
type Stretch struct {
	Start   float64 // s since the first frame began
	Total   float64 // s that its frames took together
	Longest float64 // s, the longest of them
	Frames  int64
}

// Mean is the mean frame time of the stretch, s.
func (s Stretch) Mean() float64 { return s.Total / float64(s.Frames) }

// course gathers frame times in their order in bounded memory: in stretches, of which two
// become one as often as there are too many.
type course struct {
	list  []Stretch
	width float64 // s that a stretch takes at least
}

func (c *course) add(seconds, before float64) {
	n := len(c.list)
	if n == 0 || c.list[n-1].Total >= c.width {
		if n == mostStretches {
			c.halve()
			n = len(c.list)
		}
		if n == 0 || c.list[n-1].Total >= c.width {
			c.list = append(c.list, Stretch{Start: before})
			n++
		}
	}
	last := &c.list[n-1]
	last.Total += seconds
	last.Longest = max(last.Longest, seconds)
	last.Frames++
}

// halve joins each two neighbours.
func (c *course) halve() {
	for i := range len(c.list) / 2 {
		a, b := c.list[2*i], c.list[2*i+1]
		c.list[i] = Stretch{a.Start, a.Total + b.Total, max(a.Longest, b.Longest), a.Frames + b.Frames}
	}
	c.list = c.list[:len(c.list)/2]
	c.width = 2 * (c.list[len(c.list)-1].Start + c.list[len(c.list)-1].Total) / mostStretches
}

// Course is how frame times went over time, in the order in which they were added: at most
// 960 stretches of about the same length, each whole, so that no frame is left out.
func (t *Times) Course() []Stretch { return append([]Stretch(nil), t.course.list...) }
