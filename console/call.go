package console

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"reflect"
	"strings"

	"sweepd/testday"
)

// Call has the agent carry out an operation. in is what the operation takes as bytes, out
// where it gives them. damage names what of the data is damaged and was left out.
func Call[Q, A any](ctx context.Context, c *Client, op *testday.Operation[Q, A], q Q, zone string, in io.Reader, out io.Writer) (answer A, damage, err error) {
	r, err := c.operation(ctx, op.About, &q, zone, in)
	if err != nil {
		return answer, nil, err
	}
	resp, err := c.patient.Do(r)
	if err != nil {
		return answer, nil, c.unreachable(err)
	}
	defer resp.Body.Close()
	if resp.StatusCode != http.StatusOK {
		text, err := io.ReadAll(io.LimitReader(resp.Body, maxAnswer))
		if err != nil {
			return answer, nil, c.unreachable(err)
		}
		return answer, nil, c.refusedOperation(op.About, resp.StatusCode, text)
	}
	if op.Gives == "" {
		err = json.NewDecoder(resp.Body).Decode(&answer)
		if err != nil {
			err = fmt.Errorf("the answer of the agent at %s cannot be read: %w", c.shown, err)
		}
		return answer, unescaped(resp.Header.Get(damageHeader)), err
	}
	if _, err := io.Copy(out, resp.Body); err != nil {
		return answer, nil, err
	}
	return answer, unescaped(resp.Trailer.Get(damageHeader)), unescaped(resp.Trailer.Get(errorTrailer))
}

// unescaped is the error that a header has, nil for none.
func unescaped(text string) error {
	if text, err := url.QueryUnescape(text); err == nil && text != "" {
		return errors.New(text)
	}
	return nil
}

// operation is the request of an operation.
func (c *Client) operation(ctx context.Context, about testday.About, q any, zone string, in io.Reader) (*http.Request, error) {
	path := about.Path
	var unnamed error
	walkFields(reflect.ValueOf(q).Elem(), func(name string, v reflect.Value) {
		if strings.Contains(path, "{"+name+"}") {
			text := fmt.Sprint(v.Interface())
			unnamed = errors.Join(unnamed, named(text))
			path = strings.ReplaceAll(path, "{"+name+"}", url.PathEscape(text))
		}
	})
	if unnamed != nil {
		return nil, unnamed
	}
	query := url.Values{}
	body, kind := in, octets
	switch {
	case about.Method == http.MethodGet:
		query, body = encodeQuery(q), nil
	case about.Takes != "":
		query = encodeQuery(q)
	default:
		text, err := json.Marshal(q)
		if err != nil {
			return nil, err
		}
		body, kind = bytes.NewReader(text), "application/json"
	}
	for _, name := range pathFields(about.Path) {
		query.Del(name)
	}
	if zone != "" {
		query.Set(zoneParameter, zone)
	}
	r, err := http.NewRequestWithContext(ctx, about.Method, c.base+prefix+path+"?"+query.Encode(), body)
	if err != nil {
		return nil, err
	}
	if body != nil {
		r.Header.Set("Content-Type", kind)
	}
	c.addToken(r, about.Needs == testday.NeedsRight)
	return r, nil
}

// addToken gives a request the token for an agent on another machine, else, for this
// device's own, the right to change what is kept, where this user has it.
func (c *Client) addToken(r *http.Request, right bool) {
	if c.Bearer != "" {
		r.Header.Set("Authorization", "Bearer "+c.Bearer)
		return
	}
	if !right || c.Holder.Data == "" {
		return
	}
	text, err := os.ReadFile(filepath.Join(c.Holder.Data, tokenName))
	if err == nil && len(text) < 100 {
		r.Header.Set(tokenHeader, strings.TrimSpace(string(text)))
	}
}

// refusedOperation gives the agent's own sentence, of the kind that the operation would
// fail with in this process.
func (c *Client) refusedOperation(about testday.About, status int, text []byte) error {
	var m problem
	known := json.Unmarshal(text, &m) == nil && m.Error != ""
	switch {
	case status == http.StatusNotFound && known && strings.HasPrefix(m.Error, nothingThere):
		return &UnknownOperationError{c.shown, about}
	case known && m.Kind == kindNoRight:
		return &NoRightError{c.Holder}
	case known && m.Skipped != nil:
		return &testday.SelectionError{Skipped: *m.Skipped, Err: c.refused(status, text)}
	case known && m.Kind == kindRequest:
		return &testday.RequestError{Err: errors.New(m.Error)}
	}
	return c.refused(status, text)
}

// kindOf is the error of a kind that callers branch on; nil for others.
func kindOf(m problem) error {
	for _, e := range testday.Kinds() {
		if e.Kind() == m.Kind && json.Unmarshal(m.About, e) == nil {
			return e
		}
	}
	return nil
}

// UnknownOperationError is that the agent is of a version that lacks the operation.
type UnknownOperationError struct {
	url   string
	about testday.About
}

func (e *UnknownOperationError) Error() string {
	return fmt.Sprintf("the agent at %s knows nothing of %s %s%s", e.url, e.about.Method, prefix, e.about.Path)
}

// NoRightError is that this user may not change what an agent keeps.
type NoRightError struct{ Holder testday.Holder }

func (e *NoRightError) Error() string {
	return "this changes what is kept in " + e.Holder.Data + ", which is " + e.Holder.User + "'s"
}
