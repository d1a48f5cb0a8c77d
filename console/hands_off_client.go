package console

import (
	"bytes"
	"context"
	"crypto/rand"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/http"
	"os"
	"path/filepath"
	"strings"

	"sweepd/testday"
)

var _ testday.HandsOffAgent = (*Client)(nil)

const handsOffPath = prefix + "/plan/run"

// HandsOff asks how a day without hands stands.
func (c *Client) HandsOff(ctx context.Context) (d testday.HandsOff, err error) {
	return d, c.get(ctx, handsOffPath, &d)
}

// BeginHandsOff has the agent do its plan by itself.
func (c *Client) BeginHandsOff(ctx context.Context, q testday.BeginHandsOff) (d testday.HandsOff, err error) {
	return d, c.postOnce(ctx, handsOffPath, q, &d)
}

// PauseHandsOff pauses the day after the run in progress.
func (c *Client) PauseHandsOff(ctx context.Context, q testday.HandsOffRequest) (d testday.HandsOff, err error) {
	return d, c.post(ctx, handsOffPath+"/pause", q, &d)
}

// ResumeHandsOff goes on with a day that is paused.
func (c *Client) ResumeHandsOff(ctx context.Context, q testday.HandsOffRequest) (d testday.HandsOff, err error) {
	return d, c.post(ctx, handsOffPath+"/resume", q, &d)
}

// StopHandsOff ends the day.
func (c *Client) StopHandsOff(ctx context.Context, q testday.HandsOffRequest) (d testday.HandsOff, err error) {
	return d, c.post(ctx, handsOffPath+"/stop", q, &d)
}

// DryRunHandsOff asks what a day would do.
func (c *Client) DryRunHandsOff(ctx context.Context, q testday.BeginHandsOff) (d testday.DryRun, err error) {
	return d, c.post(ctx, handsOffPath+"/dry", q, &d)
}

// RunnerBeat says what a runner does, and is told what to do, by the agent alone that keeps
// its data in the folder of c.Holder: both sides prove that they can read its token.
func (c *Client) RunnerBeat(ctx context.Context, b testday.Beat) (o testday.Order, err error) {
	for again := false; ; again = true {
		o, err = c.beat(ctx, b)
		var right *NoRightError
		if again || !errors.As(err, &right) {
			return o, err
		}
		// Perhaps the agent was just started again, with a new token.
	}
}

func (c *Client) beat(ctx context.Context, b testday.Beat) (o testday.Order, err error) {
	text, err := os.ReadFile(filepath.Join(c.Holder.Data, tokenName))
	switch {
	case errors.Is(err, fs.ErrNotExist): // the agent removes it as it ends
		return o, c.unreachable(fmt.Errorf("the agent that keeps its data in %s has ended", c.Holder.Data))
	case c.Holder.Data == "" || err != nil:
		return o, &NoRightError{c.Holder}
	}
	token := Token{text: strings.TrimSpace(string(text))}
	body, err := json.Marshal(b)
	if err != nil {
		return o, err
	}
	q, err := http.NewRequestWithContext(ctx, http.MethodPost, c.base+handsOffPath+"/beat", bytes.NewReader(body))
	if err != nil {
		return o, err
	}
	nonce := rand.Text()
	q.Header.Set("Content-Type", "application/json")
	q.Header.Set(nonceHeader, nonce)
	q.Header.Set(proofHeader, token.proof(ofRunner, nonce, body))
	resp, err := c.patient.Do(q)
	if err != nil {
		return o, c.unreachable(err)
	}
	defer resp.Body.Close()
	answer, err := io.ReadAll(io.LimitReader(resp.Body, maxAnswer))
	switch {
	case err != nil:
		return o, c.unreachable(err)
	case resp.StatusCode != http.StatusOK:
		return o, c.refused(resp.StatusCode, answer)
	case !token.proves(resp.Header.Get(proofHeader), ofAgent, nonce, answer):
		return o, fmt.Errorf("what answers at %s is not the agent that keeps its data in %s, so nothing that it says is carried out", c.shown, c.Holder.Data)
	}
	if err := json.Unmarshal(answer, &o); err != nil {
		return o, fmt.Errorf("%s does not answer like a sweepd agent: %w", c.shown, err)
	}
	return o, nil
}

// MayPass tells whether an error of a Client is one that may be over soon: nobody answers.
func MayPass(err error) bool {
	var away *unreachableError
	return errors.As(err, &away)
}

// NoHandsOffError is that an agent does no plan by itself.
type NoHandsOffError struct{ Text string }

func (e *NoHandsOffError) Error() string { return e.Text }
