package console

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"reflect"
	"strings"

	"sweepd/run"
)

// readJSON reads the one value of a request's body. Where it is not what it
// should be, it answers and returns false.
func readJSON(w http.ResponseWriter, r *http.Request, into any) bool {
	return readJSONWithin(w, r, into, maxBody)
}

// readJSONWithin is readJSON of a body of at most so many bytes.
func readJSONWithin(w http.ResponseWriter, r *http.Request, into any, most int64) bool {
	if !isJSON(w, r) {
		return false
	}
	err := decodeJSON(http.MaxBytesReader(w, r.Body, most), into)
	if err != nil {
		refuseJSON(w, r, err)
	}
	return err == nil
}

// isJSON tells whether a request's body is said to be JSON. Where it is not, it answers.
func isJSON(w http.ResponseWriter, r *http.Request) bool {
	if mediaType(r) == octets {
		writeError(w, http.StatusUnsupportedMediaType, fmt.Errorf("no bytes are taken at %s: send JSON, with the content type application/json", run.Shorten(r.URL.Path)))
		return false
	}
	return true
}

// decodeJSON reads the one value there is, whose fields are all known.
func decodeJSON(from io.Reader, into any) error {
	d := json.NewDecoder(from)
	d.DisallowUnknownFields()
	err := d.Decode(into)
	if err == nil {
		if _, more := d.Token(); !errors.Is(more, io.EOF) {
			err = errors.New("more than one value")
		}
	}
	return err
}

// refuseJSON answers that a request's body is not what it should be.
func refuseJSON(w http.ResponseWriter, r *http.Request, err error) {
	var large *http.MaxBytesError
	if errors.As(err, &large) {
		writeError(w, http.StatusRequestEntityTooLarge, fmt.Errorf("the request has more than %d bytes", large.Limit))
		return
	}
	writeError(w, http.StatusBadRequest, fmt.Errorf("the request is not the JSON object expected at %s: %s", r.URL.Path, inPlainWords(err)))
}

// inPlainWords says what the decoder found without its words for Go's types.
func inPlainWords(err error) string {
	var kind *json.UnmarshalTypeError
	var syntax *json.SyntaxError
	switch {
	case errors.As(err, &kind) && kind.Field != "":
		return fmt.Sprintf("%s may not be %s, it is %s", kind.Field, article(kind.Value), wanted(kind.Type))
	case errors.As(err, &kind):
		return fmt.Sprintf("it is %s", article(kind.Value))
	case errors.As(err, &syntax):
		return fmt.Sprintf("no JSON from byte %d on", syntax.Offset)
	case errors.Is(err, io.EOF):
		return "it is empty"
	case errors.Is(err, io.ErrUnexpectedEOF):
		return "it ends too early"
	}
	return strings.TrimPrefix(err.Error(), "json: ")
}

// article is what the decoder calls a value ("number 5", "string"), in words.
func article(value string) string {
	kind, _, _ := strings.Cut(value, " ")
	switch kind {
	case "array", "object":
		return "an " + kind
	case "bool":
		return "true or false"
	}
	return "a " + kind
}

// wanted is what a field takes.
func wanted(t reflect.Type) string {
	switch t.Kind() {
	case reflect.Pointer:
		return wanted(t.Elem())
	case reflect.String:
		return "a string"
	case reflect.Bool:
		return "true or false"
	case reflect.Slice, reflect.Array:
		return "an array"
	case reflect.Map, reflect.Struct:
		return "an object"
	}
	return "a number"
}

// nothingThere is what the answer begins with where no path fits.
const nothingThere = "there is nothing at "

func writeJSON(w http.ResponseWriter, v any) {
	text, err := json.Marshal(v)
	if err != nil { // a number that JSON cannot hold got this far
		writeError(w, http.StatusInternalServerError, fmt.Errorf("answer: %w", err))
		return
	}
	w.Header().Set("Content-Type", "application/json")
	w.Header().Set("Cache-Control", "no-store")
	_, _ = run.VisibleWriter{To: w}.Write(append(text, '\n')) // a client that hung up is its own affair
}
