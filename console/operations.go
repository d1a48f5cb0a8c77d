package console

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"reflect"
	"strings"
	"time"

	"go.uber.org/zap"

	"sweepd/run"
	"sweepd/store"
	"sweepd/testday"
)

// prefix is before the path of each operation.
const prefix = "/api/v1"

// Names of headers and trailers beside those of HTTP.
const (
	tokenHeader  = "Sweepd-Token"  // the right to change what is kept, see Token
	damageHeader = "Sweepd-Damage" // what of the data is damaged and was left out, as a URL's query has texts
	errorTrailer = "Sweepd-Error"  // why what was given as bytes is not whole
)

// octets is the type of what travels as bytes to the agent; browsers ask for permission
// before they send it for another site.
const octets = "application/octet-stream"

// Data is a store that was opened for one request.
type Data interface {
	store.Store
	Damage() error // that was found, see sqlite.Store
	Close() error
}

// handleOperations adds all operations of a test day.
func (h *handler) handleOperations(mux *http.ServeMux) {
	for _, op := range testday.Operations() {
		about := op.Described()
		mux.HandleFunc(about.Method+" "+prefix+about.Path, func(w http.ResponseWriter, r *http.Request) { h.operate(w, r, op) })
	}
}

// operate carries out an operation.
func (h *handler) operate(w http.ResponseWriter, r *http.Request, op testday.AnyOperation) {
	about := op.Described()
	if about.Needs == testday.NeedsRight && !h.entitled(w, r) {
		return
	}
	request := op.NewRequest()
	if !readRequest(w, r, about, request) {
		return
	}
	zone, err := zoneOf(r.URL.Query().Get(zoneParameter))
	if err != nil {
		writeError(w, http.StatusBadRequest, err)
		return
	}
	c := http.NewResponseController(w)
	if err := errors.Join(c.SetReadDeadline(time.Time{}), c.SetWriteDeadline(time.Time{})); err != nil && !errors.Is(err, http.ErrNotSupported) {
		h.fail(w, r, err)
		return
	}
	out := &download{w: w, c: c, kind: about.Gives}
	day := h.day(time.Now().In(zone), &upload{r.Body, c}, out)
	answer, damage, err := h.run(r.Context(), day, op, request)
	switch {
	case out.begun:
		out.end(damage, err)
	case err != nil:
		h.failOperation(w, r, err)
	default:
		if damage != nil {
			w.Header().Set(damageHeader, url.QueryEscape(damage.Error()))
		}
		_ = c.SetWriteDeadline(time.Now().Add(writeTimeout))
		if about.Gives != "" { // of no length
			out.begin()
			return
		}
		writeJSON(w, answer)
	}
}

// run opens the data for an operation and carries it out.
func (h *handler) run(ctx context.Context, day *testday.Day, op testday.AnyOperation, request any) (answer any, damage, err error) {
	opens := op.Described().Opens
	if opens == testday.OpensNothing {
		answer, err = op.Run(ctx, day, request)
		return answer, nil, err
	}
	data, err := h.Open(opens == testday.OpensToRead)
	if err != nil {
		return nil, nil, err
	}
	defer func() { err = errors.Join(err, data.Close()) }()
	day.Store = testday.StoreWithUnstored(data, h.Agent)
	answer, err = op.Run(ctx, day, request)
	return answer, data.Damage(), err
}

func (h *handler) day(now time.Time, in io.Reader, out io.Writer) *testday.Day {
	return &testday.Day{
		Lower: h.Lower, Prices: h.Prices, Published: h.Published, Version: h.Version, FramesShort: h.FramesShort, Thresholds: h.Thresholds, Now: now, In: in, Out: out, Dir: h.Holder.Data,
		Device:   func() (string, error) { return h.Agent.Live().Current.Device, nil },
		Status:   func() (testday.Status, error) { return h.agent.Status(context.Background()) },
		Publish:  h.Agent.Publish,
		Progress: func(int, int) {},

		RenameWatched: h.Agent.Rename,
		Actuators:     h.Actuators,
	}
}

// readRequest reads the request of an operation: from the URL where it is a GET or takes
// bytes, else from the body.
func readRequest(w http.ResponseWriter, r *http.Request, about testday.About, into any) bool {
	q := r.URL.Query()
	for _, name := range pathFields(about.Path) {
		q.Set(name, r.PathValue(name))
	}
	if about.Takes != "" && mediaType(r) != octets {
		writeError(w, http.StatusUnsupportedMediaType, fmt.Errorf("the bytes of a file are taken at %s (%s): send them with the content type %s", run.Shorten(r.URL.Path), about.Takes, octets))
		return false
	}
	if about.Method == http.MethodGet || about.Takes != "" {
		if err := decodeQuery(q, into); err != nil {
			writeError(w, http.StatusBadRequest, err)
			return false
		}
		return true
	}
	if !readJSONWithin(w, r, into, max(about.Most, maxBody)) {
		return false
	}
	var err error
	walkFields(reflect.ValueOf(into).Elem(), func(name string, v reflect.Value) {
		if value := r.PathValue(name); value != "" && err == nil {
			err = setField(name, v, []string{value})
		}
	})
	if err != nil {
		writeError(w, http.StatusBadRequest, err)
	}
	return err == nil
}

// pathFields are the names in braces of a path.
func pathFields(path string) (names []string) {
	for part := range strings.SplitSeq(path, "/") {
		if name, ok := strings.CutPrefix(part, "{"); ok {
			names = append(names, strings.TrimSuffix(name, "}"))
		}
	}
	return names
}

// zoneOf is the time zone of whoever asks: a name of the IANA data base, or an offset
// such as +02:00; without one, the agent's.
func zoneOf(text string) (*time.Location, error) {
	if text == "" {
		return time.Local, nil
	}
	if at, err := time.Parse("-07:00", text); err == nil {
		_, offset := at.Zone()
		return time.FixedZone("", offset), nil
	}
	zone, err := time.LoadLocation(text)
	if err != nil || text == "Local" {
		return nil, fmt.Errorf("zone %q is not known here: give a name such as Europe/Oslo, or an offset such as +02:00", run.Shorten(text))
	}
	return zone, nil
}

// upload is a request's body, of which each part has its time.
type upload struct {
	io.Reader
	c *http.ResponseController
}

func (u *upload) Read(p []byte) (int, error) {
	_ = u.c.SetReadDeadline(time.Now().Add(readTimeout)) // not supported: there is none
	return u.Reader.Read(p)
}

// download is what an operation gives as bytes.
type download struct {
	w     http.ResponseWriter
	c     *http.ResponseController
	kind  string
	begun bool
}

func (d *download) begin() {
	d.begun = true
	d.w.Header().Set("Content-Type", d.kind)
	d.w.Header().Set("Cache-Control", "no-store")
	d.w.Header().Set("Trailer", damageHeader+", "+errorTrailer)
	d.w.WriteHeader(http.StatusOK)
}

func (d *download) Write(p []byte) (int, error) {
	if !d.begun {
		d.begin()
	}
	_ = d.c.SetWriteDeadline(time.Now().Add(writeTimeout))
	return d.w.Write(p)
}

// end tells of what went wrong after what was given.
func (d *download) end(damage, err error) {
	for name, e := range map[string]error{damageHeader: damage, errorTrailer: err} {
		if e != nil {
			d.w.Header().Set(name, url.QueryEscape(e.Error()))
		}
	}
}

// entitled tells whether whoever asks may change what is kept; where not, it answers.
// Phones may: whoever paired one could.
func (h *handler) entitled(w http.ResponseWriter, r *http.Request) bool {
	if whoAsks(r) != "" || h.Token.is(r.Header.Get(tokenHeader)) {
		return true
	}
	h.Log.Debug("refused: no right", zap.String("path", r.URL.Path))
	writeProblem(w, http.StatusForbidden, problem{Kind: kindNoRight, Error: "this changes what is kept, which needs the token in the file " + h.Token.Path()})
	return false
}
