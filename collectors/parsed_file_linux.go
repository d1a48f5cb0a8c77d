package collectors

import (
	"math"
	"time"
)

// parsedFile is a probe of one sensor whose value a function finds in the text
// of a file.
type parsedFile struct {
	file  *sysFile
	parse func(text []byte) (value float64, ok bool)
	want  string // what the text should be
}

// openParsed returns what opens such a probe.
func openParsed(path, want string, parse func(text []byte) (value float64, ok bool)) func() (Probe, error) {
	return func() (Probe, error) {
		f, err := openSysFile(path)
		if err != nil {
			return nil, err
		}
		return &parsedFile{file: f, parse: parse, want: want}, nil
	}
}

func (p *parsedFile) Read(_ time.Duration, dst []float64) error {
	dst[0] = math.NaN()
	text, err := p.file.text()
	if err != nil {
		return err
	}
	v, ok := p.parse(text)
	if !ok {
		return p.file.refuse(text, p.want)
	}
	p.file.err = nil
	dst[0] = v
	return nil
}

func (p *parsedFile) Close() error { return p.file.Close() }
