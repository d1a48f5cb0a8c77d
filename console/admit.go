package console

import (
	"context"
	"errors"
	"fmt"
	"math"
	"net/http"
	"strconv"
	"strings"
	"time"

	"go.uber.org/zap"

	"sweepd/run"
	"sweepd/testday"
)

const (
	// Names of the cookie with a phone's token. Over TLS it is one that no other host and no
	// plain connection can set (RFC 6265bis, 4.1.3.2).
	cookieName    = "sweepd-phone"
	cookieNameTLS = "__Host-sweepd-phone"
	// cookieLives is as long as browsers keep one (RFC 6265bis, 5.5).
	cookieLives = 400 * 24 * time.Hour
)

const kindNoToken = "no_token" // who asks from elsewhere has no token, or one that was revoked

// admit tells who asks. This device may ask for everything; from elsewhere a phone has to be
// paired. Whoever may not gets the answer from here: the page that pairs, or a problem.
func (h *handler) admit(w http.ResponseWriter, r *http.Request) (*http.Request, bool) {
	token, program := tokenOf(r)
	if id, found := h.Paired.find(token, program, time.Now()); found {
		return r.WithContext(context.WithValue(r.Context(), asker{}, id)), true
	}
	from := fromAddress(r)
	if from.IsLoopback() {
		return r, true
	}
	call := r.Method + " " + r.URL.Path
	switch call {
	case "POST " + prefix + pairPath, "GET " + pairScriptPath, "GET " + stylePath:
		return r, true
	}
	// A right token is let in whatever others at the address try: nobody guesses 128 bits, and
	// codes, which are shorter, are given no answer then.
	limited := false
	if token != "" {
		if !program {
			http.SetCookie(w, cookie(r, "", -1)) // else the browser shows it each time
		}
		limited = h.wrong.wait(from, time.Now()) > 0
		h.wrong.count(from, time.Now())
		h.Log.Info("refused: no such phone is paired", zap.Stringer("from", from))
	}
	switch call {
	case "GET /", "HEAD /", "GET " + pairPagePath:
		servePairPage(w, r)
	default:
		if !limited || h.mayTry(w, r) {
			w.Header().Set("WWW-Authenticate", `Bearer realm="sweepd"`) // RFC 9110, 15.5.2
			writeProblem(w, http.StatusUnauthorized, problem{Kind: kindNoToken, Error: "whoever asks has no token, or one that was revoked: pair a phone with `sweepd console pair` on the device, or a program with `sweepd console pair --program NAME`"})
		}
	}
	return r, false
}

// cookie is that with a token, for so long; it ends at once where age is negative.
func cookie(r *http.Request, token string, age int) *http.Cookie {
	c := &http.Cookie{Name: cookieName, Value: token, Path: "/", MaxAge: age, HttpOnly: true, SameSite: http.SameSiteStrictMode}
	if r.TLS != nil {
		c.Name, c.Secure = cookieNameTLS, true
	}
	return c
}

// tokenOf is the token that a request brings: a program in the header Authorization
// (RFC 6750, 2.1), a browser as a cookie.
func tokenOf(r *http.Request) (token string, program bool) {
	if kind, token, found := strings.Cut(r.Header.Get("Authorization"), " "); found && strings.EqualFold(kind, "Bearer") {
		return strings.TrimSpace(token), true
	}
	name := cookieName
	if r.TLS != nil {
		name = cookieNameTLS
	}
	c, err := r.Cookie(name)
	if err != nil {
		return "", false
	}
	return c.Value, false
}

// mayTry tells whether an address may try a token or code. Where not, it answers.
func (h *handler) mayTry(w http.ResponseWriter, r *http.Request) bool {
	wait := h.wrong.wait(fromAddress(r), time.Now())
	if wait <= 0 {
		return true
	}
	seconds := int(math.Ceil(wait.Seconds()))
	w.Header().Set("Retry-After", strconv.Itoa(seconds))
	writeError(w, http.StatusTooManyRequests, fmt.Errorf("too many wrong tokens or codes came from this address: wait %d s", seconds))
	return false
}

// PairRequest gives a code for a token: POST /api/v1/pair.
type PairRequest struct {
	Code string `json:"code"`
}

const pairPath = "/pair"

// pair gives a phone its token, as a cookie that no script can read.
func (h *handler) pair(w http.ResponseWriter, r *http.Request) {
	var q PairRequest
	if !readJSON(w, r, &q) || !h.mayTry(w, r) {
		return
	}
	name, err := h.pairings.take(q.Code, time.Now())
	if err != nil {
		h.wrong.count(fromAddress(r), time.Now())
		h.Log.Info("refused: a wrong code", zap.Stringer("from", fromAddress(r)))
		writeError(w, http.StatusForbidden, err)
		return
	}
	token, phone, err := h.Paired.add(name, false, time.Now())
	if err != nil {
		h.fail(w, r, err)
		return
	}
	h.Log.Info("paired", zap.String("phone", phone.Name), zap.Stringer("from", fromAddress(r)))
	http.SetCookie(w, cookie(r, token, int(cookieLives.Seconds())))
	writeJSON(w, phone)
}

// PairingRequest asks for a code: POST /api/v1/phones/pairing.
type PairingRequest struct {
	Name string `json:"name"` // of the phone; empty: "phone 1", say
}

// Pairing is how a phone is paired.
type Pairing struct {
	Code      string        `json:"code"`
	Name      string        `json:"name"`
	ExpiresAt run.Timestamp `json:"expires_at"`
	Reach
}

func (h *handler) offerPairing(w http.ResponseWriter, r *http.Request) {
	var q PairingRequest
	if !readJSON(w, r, &q) || !h.owns(w, r) {
		return
	}
	name, err := h.nameOfPhone(q.Name)
	if err != nil {
		writeProblem(w, http.StatusBadRequest, problem{Kind: kindRequest, Error: err.Error()})
		return
	}
	x := h.pairings.offer(name, time.Now())
	writeJSON(w, Pairing{x.shown(), x.name, run.Stamp(x.until), h.reach()})
}

// nameOfPhone is the name for a phone that is to be paired.
func (h *handler) nameOfPhone(asked string) (string, error) {
	taken := map[string]bool{}
	for _, p := range h.Paired.phones() {
		taken[p.Name] = true
	}
	if asked == "" {
		for i := 1; ; i++ {
			if name := fmt.Sprintf("phone %d", i); !taken[name] {
				return name, nil
			}
		}
	}
	if taken[asked] {
		return "", fmt.Errorf("%q is paired already: choose another name, or revoke it first", run.Shorten(asked))
	}
	return asked, run.CheckLabel("name", asked)
}

// PairedProgram is a program that was given a token, which is shown this once.
type PairedProgram struct {
	PairedPhone
	Token string `json:"token"`
	Reach
}

// pairProgram gives a program on another machine a token: it has nobody to type a code.
func (h *handler) pairProgram(w http.ResponseWriter, r *http.Request) {
	var q PairingRequest
	if !readJSON(w, r, &q) || !h.owns(w, r) {
		return
	}
	err := errors.New("name the program, such as scraper: by its name it is listed and revoked")
	if q.Name != "" {
		q.Name, err = h.nameOfPhone(q.Name)
	}
	if err != nil {
		writeProblem(w, http.StatusBadRequest, problem{Kind: kindRequest, Error: err.Error()})
		return
	}
	token, phone, err := h.Paired.add(q.Name, true, time.Now())
	if err != nil {
		h.fail(w, r, err)
		return
	}
	h.Log.Info("paired a program", zap.String("name", phone.Name))
	writeJSON(w, PairedProgram{phone, token, h.reach()})
}

// reach tells where the page is, see Options.Reach.
func (h *handler) reach() Reach {
	if h.Reach == nil {
		return Reach{Addresses: []string{DefaultURL}}
	}
	return h.Reach()
}

func (h *handler) listPhones(w http.ResponseWriter, r *http.Request) {
	if h.owns(w, r) {
		writeJSON(w, h.Paired.phones())
	}
}

func (h *handler) revoke(w http.ResponseWriter, r *http.Request) {
	var q testday.Nothing
	if !readJSON(w, r, &q) || !h.owns(w, r) {
		return
	}
	phone, err := h.Paired.revoke(r.PathValue("id"))
	if errors.Is(err, errNoPhone) {
		writeError(w, http.StatusNotFound, err)
		return
	}
	if err != nil {
		h.fail(w, r, err)
		return
	}
	h.watchers.letGo(phone.ID)
	h.Log.Info("revoked", zap.String("phone", phone.Name))
	writeJSON(w, phone)
}

// owns tells whether whoever asks is on this device and has the right; where not, it
// answers. A phone pairs no other.
func (h *handler) owns(w http.ResponseWriter, r *http.Request) bool {
	if whoAsks(r) == "" {
		return h.entitled(w, r)
	}
	writeProblem(w, http.StatusForbidden, problem{Kind: kindElsewhere, Error: "phones and programs are paired and revoked on the device itself: sweepd console"})
	return false
}
