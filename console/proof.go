package console

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/hex"
)

// Headers of a proof that somebody has the right, see Token, without telling the token: a
// keyed hash (HMAC, RFC 2104) of a text that the other side chose, and of the message.
// An agent tells a runner what to carry out, and whoever gets hold of the port before the
// agent could, too, so a runner tells nobody the token and wants a proof as well.
const (
	proofHeader = "Sweepd-Proof"
	nonceHeader = "Sweepd-Nonce"
)

// What a proof is of, so that none can be sent back.
const (
	ofRunner = "runner"
	ofAgent  = "agent"
)

// proof proves that this side has the token.
func (t Token) proof(of, nonce string, body []byte) string {
	h := hmac.New(sha256.New, []byte(t.text))
	for _, part := range []string{of, "\n", nonce, "\n"} {
		_, _ = h.Write([]byte(part)) // never fails (hash.Hash)
	}
	_, _ = h.Write(body)
	return hex.EncodeToString(h.Sum(nil))
}

// proves tells whether a proof is one of the other side.
func (t Token) proves(proof, of, nonce string, body []byte) bool {
	return t.text != "" && nonce != "" && hmac.Equal([]byte(proof), []byte(t.proof(of, nonce, body)))
}
