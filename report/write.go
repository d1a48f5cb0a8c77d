package report

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"runtime"
	"sync"

	"golang.org/x/sync/errgroup"

	"sweepd/internal/userfile"
	"sweepd/report/chart"
)

// Options say what Write writes besides the page and the SVG files.
type Options struct {
	PNG bool // pictures for videos as well

	// Progress is told how many files of how many are written; it may be called
	// by several goroutines, one at a time. nil: nobody is told.
	Progress func(done, total int)
}

// Written is what Write wrote.
type Written struct {
	Page  string // path of the page
	Files int
}

const (
	pageName  = "report.html"
	chartsDir = "charts"
)

// widths are those of the PNG files, in pixels: 1920x1080 and 3840x2160.
var widths = []int{1920, 3840}

// Write writes a report into a folder, which it makes where it does not exist:
// report.html, and the charts as SVG and, if asked for, PNG in charts. Charts of a
// former report there are replaced; other files stay. A folder that holds
// something else under these names is left alone, with an error.
func Write(ctx context.Context, dir string, p *Page, o Options) (Written, error) {
	w := writer{ctx: ctx, dir: dir, options: o}
	page := filepath.Join(dir, pageName)
	if err := w.prepare(page); err != nil {
		return Written{}, fmt.Errorf("report into %s: %w", dir, err)
	}
	jobs := w.jobs(p, page)
	if err := w.run(jobs); err != nil {
		return Written{}, fmt.Errorf("report into %s: %w", dir, err)
	}
	return Written{Page: page, Files: len(jobs)}, nil
}

type writer struct {
	ctx     context.Context
	dir     string
	charts  string // the folder of charts, its links followed
	options Options
}

// job makes one file.
type job struct {
	path string
	make func(*bytes.Buffer) error
}

// largestPage is far above a page of more runs than anybody reads, bytes.
const largestPage = 1 << 30

var errForeign = errors.New("is not a report of sweepd: name another folder")

// ours tells pages of this program, and chartNames the charts they name.
var (
	ours       = []byte(`<meta name="generator" content="sweepd report">`)
	chartNames = regexp.MustCompile(`data-chart="([a-z0-9-]+)"`)
)

// prepare makes the folders and clears the charts of a former report.
func (w *writer) prepare(page string) error {
	charts, err := userfile.Resolve(filepath.Join(w.dir, chartsDir))
	if err != nil {
		return err
	}
	if err := os.MkdirAll(charts, 0o755); err != nil {
		return err
	}
	w.charts = charts
	if info, err := os.Stat(page); err == nil && !info.Mode().IsRegular() {
		return fmt.Errorf("%s %w", pageName, errForeign)
	}
	former, err := userfile.Read(w.ctx, page, largestPage)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	if !bytes.Contains(former, ours) {
		return fmt.Errorf("%s %w", pageName, errForeign)
	}
	for _, m := range chartNames.FindAllSubmatch(former, -1) {
		for _, picture := range pictures(string(m[1])) {
			if err := os.Remove(filepath.Join(w.charts, picture.file)); err != nil && !errors.Is(err, fs.ErrNotExist) {
				return err
			}
		}
	}
	return nil
}

// picture is one file of a chart.
type picture struct {
	file    string
	palette *chart.Palette
	width   int // in pixels; 0: SVG
}

// pictures are all files that a chart may have.
func pictures(name string) []picture {
	var list []picture
	for _, p := range []*chart.Palette{&chart.Light, &chart.Dark} {
		list = append(list, picture{name + "-" + p.Name + ".svg", p, 0})
		for _, width := range widths {
			list = append(list, picture{fmt.Sprintf("%s-%s-%dx%d.png", name, p.Name, width, width*9/16), p, width})
		}
	}
	return list
}

func (f picture) write(b *bytes.Buffer, c *chart.Chart) error {
	if f.width > 0 {
		return chart.PNG(b, c, f.width, f.palette)
	}
	_, err := b.Write(chart.SVG(c, chart.Wide, f.palette))
	return err
}

func (w *writer) jobs(p *Page, page string) []job {
	jobs := []job{{page, func(b *bytes.Buffer) error { return p.HTML(b) }}}
	for _, c := range p.Charts() {
		for _, f := range pictures(c.Name) {
			if f.width == 0 || w.options.PNG {
				jobs = append(jobs, job{filepath.Join(w.charts, f.file), func(b *bytes.Buffer) error { return f.write(b, &c) }})
			}
		}
	}
	return jobs
}

// run does the jobs on all processors and stops at the first error.
func (w *writer) run(jobs []job) error {
	group, ctx := errgroup.WithContext(w.ctx)
	group.SetLimit(runtime.GOMAXPROCS(0))
	var mu sync.Mutex
	done := 0
	for _, j := range jobs {
		group.Go(func() error {
			if ctx.Err() != nil {
				return context.Cause(ctx)
			}
			if err := writeFile(ctx, j); err != nil {
				return err
			}
			mu.Lock()
			defer mu.Unlock()
			done++
			if w.options.Progress != nil {
				w.options.Progress(done, len(jobs))
			}
			return nil
		})
	}
	return group.Wait()
}

// writeFile makes a file whole: it takes its name only when all is in it.
func writeFile(ctx context.Context, j job) error {
	var b bytes.Buffer
	if err := j.make(&b); err != nil {
		return fmt.Errorf("%s: %w", filepath.Base(j.path), err)
	}
	return userfile.Write(ctx, j.path, func(w io.Writer) error {
		_, err := b.WriteTo(w)
		return err
	})
}
