package report

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"runtime"
	"strings"
	"sync"

	"golang.org/x/sync/errgroup"

	"sweepd/analysis"
	"sweepd/internal/userfile"
	"sweepd/report/chart"
)

// Options say what Write writes besides the page and the SVG files.
type Options struct {
	PNG    bool    // pictures for videos as well
	Shapes []Shape // of those; none: wide alone

	// Progress is told how many files of how many are written; it may be called
	// by several goroutines, one at a time. nil: nobody is told.
	Progress func(done, total int)
}

// Written is what Write wrote.
type Written struct {
	Page   string // path of the page
	Files  int
	Claims []analysis.Claim // what the page may say at its top; not written
}

const (
	pageName   = "report.html"
	claimsName = "claims.json" // for whoever asked for the report, beside its files
	chartsDir  = "charts"
)

// Shape is the form of PNG files.
type Shape string

// The shapes: 16:9, 1:1 and 9:16.
const (
	Wide    Shape = "wide"
	Square  Shape = "square"
	Upright Shape = "upright"
)

// Shapes are all shapes.
var Shapes = []Shape{Wide, Square, Upright}

// forms are how each shape is drawn, and how wide its files are in pixels.
var forms = map[Shape]struct {
	size   chart.Size
	widths []int
}{
	Wide:    {chart.Wide, []int{1920, 3840}},
	Square:  {chart.Square, []int{1080, 2160}},
	Upright: {chart.Upright, []int{1080, 2160}},
}

// Write writes a report into a folder, see Folder.
func Write(ctx context.Context, dir string, p *Page, o Options) (Written, error) {
	folder := Folder{Dir: dir}
	err := Files(ctx, p, o, func(name string, text []byte) error { return folder.Write(ctx, name, text) })
	return folder.Written, err
}

// Folder is where the files of a report go. It is made where it does not exist. Charts of a
// former report there are replaced; other files stay. A folder that holds something
// else under these names is left alone, with an error.
type Folder struct {
	Dir     string
	Written Written

	charts string // the folder of charts, its links followed; empty before the first file
}

// Write writes a file of those that Files gives, whole or not at all. The claims are kept
// in Written alone.
func (f *Folder) Write(ctx context.Context, name string, text []byte) error {
	if name == claimsName {
		if err := json.Unmarshal(text, &f.Written.Claims); err != nil {
			return fmt.Errorf("report into %s: %s: %w", f.Dir, name, err)
		}
		return nil
	}
	if err := f.write(ctx, name, text); err != nil {
		return fmt.Errorf("report into %s: %w", f.Dir, err)
	}
	f.Written.Files++
	return nil
}

func (f *Folder) write(ctx context.Context, name string, text []byte) error {
	page := filepath.Join(f.Dir, pageName)
	if f.charts == "" {
		if err := f.prepare(ctx, page); err != nil {
			return err
		}
		f.Written.Page = page
	}
	path := page
	if name != pageName {
		chart, found := strings.CutPrefix(name, chartsDir+"/")
		if !found || !chartFile.MatchString(chart) {
			return fmt.Errorf("%q is no file of a report", name)
		}
		path = filepath.Join(f.charts, chart)
	}
	return userfile.Write(ctx, path, func(w io.Writer) error {
		_, err := w.Write(text)
		return err
	})
}

// chartFile is what the files of charts are called, so that nobody who gives a report
// has another file written.
var chartFile = regexp.MustCompile(`^[a-z0-9-]+\.(svg|png)$`)

// job makes one file.
type job struct {
	name string
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
func (f *Folder) prepare(ctx context.Context, page string) error {
	charts, err := userfile.Resolve(filepath.Join(f.Dir, chartsDir))
	if err != nil {
		return err
	}
	if err := os.MkdirAll(charts, 0o755); err != nil {
		return err
	}
	if info, err := os.Stat(page); err == nil && !info.Mode().IsRegular() {
		return fmt.Errorf("%s %w", pageName, errForeign)
	}
	former, err := userfile.Read(ctx, page, largestPage)
	if errors.Is(err, fs.ErrNotExist) {
		f.charts = charts
		return nil
	}
	if err != nil {
		return err
	}
	if !bytes.Contains(former, ours) {
		return fmt.Errorf("%s %w", pageName, errForeign)
	}
	for _, m := range chartNames.FindAllSubmatch(former, -1) {
		for _, picture := range pictures(string(m[1]), Shapes) {
			if err := os.Remove(filepath.Join(charts, picture.file)); err != nil && !errors.Is(err, fs.ErrNotExist) {
				return err
			}
		}
	}
	f.charts = charts
	return nil
}

// picture is one file of a chart.
type picture struct {
	file    string
	palette *chart.Palette
	size    chart.Size
	width   int // in pixels; 0: SVG
}

// pictures are the files of a chart: SVG, and PNG of these shapes.
func pictures(name string, shapes []Shape) []picture {
	var list []picture
	for _, p := range []*chart.Palette{&chart.Light, &chart.Dark} {
		list = append(list, picture{name + "-" + p.Name + ".svg", p, chart.Wide, 0})
		for _, shape := range shapes {
			form := forms[shape]
			for _, width := range form.widths {
				height := math.Round(float64(width) * form.size.Height / form.size.Width)
				list = append(list, picture{fmt.Sprintf("%s-%s-%dx%.0f.png", name, p.Name, width, height), p, form.size, width})
			}
		}
	}
	return list
}

func (f picture) write(b *bytes.Buffer, c *chart.Chart) error {
	if f.width > 0 {
		return chart.PNG(b, c, f.size, f.width, f.palette)
	}
	_, err := b.Write(chart.SVG(c, f.size, f.palette))
	return err
}

func jobs(p *Page, o Options) []job {
	jobs := []job{{pageName, func(b *bytes.Buffer) error { return p.HTML(b) }}}
	var shapes []Shape
	if o.PNG {
		if shapes = o.Shapes; len(shapes) == 0 {
			shapes = []Shape{Wide}
		}
	}
	for _, c := range p.Charts() {
		for _, f := range pictures(c.Name, shapes) {
			jobs = append(jobs, job{chartsDir + "/" + f.file, func(b *bytes.Buffer) error { return f.write(b, &c) }})
		}
	}
	return jobs
}

// Files makes the files of a report on all processors: report.html, and the charts as SVG
// and, if asked for, PNG in charts/; then what it claims, claims.json. give gets each with
// its name, one at a time in no order. It stops at the first error.
func Files(ctx context.Context, p *Page, o Options, give func(name string, text []byte) error) error {
	group, ctx := errgroup.WithContext(ctx)
	group.SetLimit(runtime.GOMAXPROCS(0))
	var mu sync.Mutex
	done, jobs := 0, jobs(p, o)
	for _, j := range jobs {
		group.Go(func() error {
			if ctx.Err() != nil {
				return context.Cause(ctx)
			}
			var b bytes.Buffer
			if err := j.make(&b); err != nil {
				return fmt.Errorf("%s: %w", filepath.Base(j.name), err)
			}
			mu.Lock()
			defer mu.Unlock()
			if ctx.Err() != nil {
				return context.Cause(ctx)
			}
			if err := give(j.name, b.Bytes()); err != nil {
				return err
			}
			done++
			if o.Progress != nil {
				o.Progress(done, len(jobs))
			}
			return nil
		})
	}
	if err := group.Wait(); err != nil {
		return err
	}
	claims, err := json.Marshal(append([]analysis.Claim{}, p.Claims...))
	if err != nil {
		return fmt.Errorf("%s: %w", claimsName, err)
	}
	return give(claimsName, claims)
}
