package console

import (
	"crypto/rand"
	"crypto/subtle"
	"errors"
	"slices"
	"strings"
	"sync"
	"time"
)

const (
	codeLives   = 2 * time.Minute
	codeLength  = 8 // letters and digits of base 32: 40 bits
	mostPending = 5 // codes
)

// pairings are the codes that a phone may show to be given a token. Each does so once.
type pairings struct {
	mu   sync.Mutex
	list []pairing
}

type pairing struct {
	code, name string
	until      time.Time
}

var errCode = errors.New("this code is wrong, was used, or is older than 2 minutes: make another one with `sweepd console pair` on the device")

// offer makes a code for a phone that is to have a name. The oldest gives way to a sixth.
func (p *pairings) offer(name string, now time.Time) pairing {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.forgetLocked(now)
	if len(p.list) >= mostPending {
		p.list = slices.Delete(p.list, 0, 1)
	}
	x := pairing{rand.Text()[:codeLength], name, now.Add(codeLives)}
	p.list = append(p.list, x)
	return x
}

func (p *pairings) forgetLocked(now time.Time) {
	p.list = slices.DeleteFunc(p.list, func(x pairing) bool { return !now.Before(x.until) })
}

// take takes a code as it was typed: in small letters, too, and with a dash.
func (p *pairings) take(typed string, now time.Time) (name string, err error) {
	code := []byte(strings.ToUpper(strings.NewReplacer("-", "", " ", "", "0", "O", "1", "I", "8", "B").Replace(strings.TrimSpace(typed))))
	p.mu.Lock()
	defer p.mu.Unlock()
	p.forgetLocked(now)
	at := -1
	for i, x := range p.list {
		if subtle.ConstantTimeCompare(code, []byte(x.code)) == 1 {
			at = i
		}
	}
	if at < 0 {
		return "", errCode
	}
	name = p.list[at].name
	p.list = slices.Delete(p.list, at, at+1)
	return name, nil
}

// shown is the code as a person reads it.
func (x pairing) shown() string { return x.code[:codeLength/2] + "-" + x.code[codeLength/2:] }
