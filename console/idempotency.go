package console

import (
	"bytes"
	"context"
	"crypto/sha256"
	"errors"
	"io"
	"net/http"
	"strings"
	"sync"
	"time"
)

// keyHeader names the header whose value makes a request one that is carried out once,
// however often it is sent (draft-ietf-httpapi-idempotency-key-header-07).
const keyHeader = "Idempotency-Key"

const (
	mostAnswers = 64        // that are kept; a test day has fewer starts and stops
	keepAnswers = time.Hour // a phone that was out of reach sends again within minutes
	longestKey  = 100       // characters
)

// answers are those that were given to requests with an idempotency key. They are kept in
// memory: after a restart of the agent a run that was started before is interrupted, and
// a stop that names its run may be repeated without a key.
type answers struct {
	mu   sync.Mutex
	kept map[answerKey]*keptAnswer
}

// answerKey is a key of somebody.
type answerKey struct{ who, key string }

type keptAnswer struct {
	fingerprint [sha256.Size]byte // of the request
	at          time.Time
	done        bool
	status      int
	header      http.Header
	body        []byte
}

// once carries out a request that has an idempotency key at most once, and gives the
// answer of the first time to those that follow. One without a key is carried out. What
// failed for a reason of the agent's own (status 500 and above) may be tried again.
func (a *answers) once(next http.HandlerFunc) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		if len(r.Header.Values(keyHeader)) == 0 {
			next(w, r)
			return
		}
		key, err := parseKey(r.Header.Values(keyHeader))
		if err != nil {
			writeProblem(w, http.StatusBadRequest, problem{Kind: kindRequest, Error: err.Error()})
			return
		}
		body, err := io.ReadAll(http.MaxBytesReader(w, r.Body, maxBody))
		if err != nil {
			refuseJSON(w, r, err)
			return
		}
		r.Body = io.NopCloser(bytes.NewReader(body))
		k := answerKey{whoAsks(r), key}
		request := fingerprint(r, body)
		mine, before := a.begin(k, request, time.Now())
		switch {
		case mine != nil:
			recorder := &answerRecorder{ResponseWriter: w, status: http.StatusOK}
			defer func() { a.end(k, mine, recorder) }()
			// Whoever asks again gets this answer: it is no other where the first one hung up.
			next(recorder, r.WithContext(context.WithoutCancel(r.Context())))
		case before.fingerprint != request:
			writeProblem(w, http.StatusUnprocessableEntity, problem{Kind: kindKeyUsed, Error: "this " + keyHeader + " came with another request before: make a new one for each start and stop"})
		case !before.done:
			w.Header().Set("Retry-After", "1")
			writeProblem(w, http.StatusConflict, problem{Kind: kindBusy, Error: "the first request with this " + keyHeader + " is still being carried out: ask again"})
		default:
			before.give(w)
		}
	}
}

// parseKey reads the header: a string of RFC 9651 in its quotes; bare texts are taken too.
func parseKey(values []string) (string, error) {
	key := strings.Trim(strings.TrimSpace(values[0]), `"`)
	if len(values) > 1 || key == "" || len(key) > longestKey || strings.ContainsFunc(key, func(r rune) bool { return r < 0x20 || r > 0x7e || r == '"' || r == '\\' }) {
		return "", errors.New(keyHeader + ` is one text in quotes of at most 100 printable characters, such as "8e03978e-40d5-43dd-bc93-6894a57f9324"`)
	}
	return key, nil
}

func fingerprint(r *http.Request, body []byte) [sha256.Size]byte {
	return sha256.Sum256(append([]byte(r.Method+" "+r.URL.RequestURI()+"\n"), body...))
}

// begin notes that a request is being carried out, or gives a copy of what is known of the first.
func (a *answers) begin(k answerKey, print [sha256.Size]byte, now time.Time) (mine *keptAnswer, before keptAnswer) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if known := a.kept[k]; known != nil && now.Sub(known.at) < keepAnswers {
		return nil, *known
	}
	if a.kept == nil {
		a.kept = map[answerKey]*keptAnswer{}
	}
	a.forgetLocked(now)
	mine = &keptAnswer{fingerprint: print, at: now}
	a.kept[k] = mine
	return mine, keptAnswer{}
}

// forgetLocked drops answers that are old, and the oldest where there are too many.
func (a *answers) forgetLocked(now time.Time) {
	var oldest answerKey
	for k, x := range a.kept {
		if now.Sub(x.at) >= keepAnswers {
			delete(a.kept, k)
		} else if o := a.kept[oldest]; o == nil || x.at.Before(o.at) {
			oldest = k
		}
	}
	if len(a.kept) >= mostAnswers {
		delete(a.kept, oldest)
	}
}

// end keeps the answer; of a request that failed here, or never had one, nothing.
func (a *answers) end(k answerKey, mine *keptAnswer, r *answerRecorder) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if !r.answered || r.status >= http.StatusInternalServerError {
		delete(a.kept, k)
		return
	}
	mine.done, mine.status, mine.header, mine.body = true, r.status, r.Header().Clone(), r.body.Bytes()
}

func (x *keptAnswer) give(w http.ResponseWriter) {
	for name, values := range x.header {
		w.Header()[name] = values
	}
	w.WriteHeader(x.status)
	_, _ = w.Write(x.body) // a client that hung up is its own affair
}

// answerRecorder copies what is answered.
type answerRecorder struct {
	http.ResponseWriter
	answered bool
	status   int
	body     bytes.Buffer
}

// Unwrap is for http.ResponseController.
func (r *answerRecorder) Unwrap() http.ResponseWriter { return r.ResponseWriter }

func (r *answerRecorder) WriteHeader(status int) {
	if !r.answered {
		r.answered, r.status = true, status
	}
	r.ResponseWriter.WriteHeader(status)
}

func (r *answerRecorder) Write(p []byte) (int, error) {
	r.answered = true
	r.body.Write(p)
	return r.ResponseWriter.Write(p)
}
