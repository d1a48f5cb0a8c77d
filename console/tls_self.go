package console

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"errors"
	"fmt"
	"math/big"
	"net"
	"path/filepath"
	"strings"
	"time"
)

// Files of the certificate of the device's own in the folder of the data.
const (
	certificateName = "console.cert.pem"
	keyName         = "console.key.pem"
)

const (
	// certificateLives is what browsers accept at most (825 days since 2018, CA/Browser
	// Forum's Baseline Requirements 6.3.2).
	certificateLives = 825 * 24 * time.Hour
	renewBefore      = 30 * 24 * time.Hour
)

// OwnCertificate is the certificate that this device made itself, which it makes where
// there is none or the one there is ends soon. hosts are names of the device besides those
// that it knows.
func OwnCertificate(dir string, hosts []string, now time.Time) (*tls.Config, error) {
	certificate, key := filepath.Join(dir, certificateName), filepath.Join(dir, keyName)
	c, err := tls.LoadX509KeyPair(certificate, key)
	if err != nil || now.Add(renewBefore).After(c.Leaf.NotAfter) {
		if err := makeCertificate(certificate, key, hosts, now); err != nil {
			return nil, fmt.Errorf("make a certificate of this device's own: %w", err)
		}
		if c, err = tls.LoadX509KeyPair(certificate, key); err != nil {
			return nil, err
		}
	}
	return &tls.Config{Certificates: []tls.Certificate{c}, MinVersion: tls.VersionTLS12, NextProtos: []string{"http/1.1"}}, nil
}

func makeCertificate(certificate, key string, hosts []string, now time.Time) error {
	secret, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return err
	}
	serial, err := rand.Int(rand.Reader, new(big.Int).Lsh(big.NewInt(1), 127))
	if err != nil {
		return err
	}
	names := append([]string{"localhost"}, newHostNames(hosts)...)
	x := x509.Certificate{
		SerialNumber: serial, Subject: pkix.Name{CommonName: "sweepd on " + names[min(1, len(names)-1)]},
		NotBefore: now.Add(-time.Hour), NotAfter: now.Add(certificateLives),
		KeyUsage: x509.KeyUsageDigitalSignature, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth}, BasicConstraintsValid: true,
		DNSNames: names, IPAddresses: ownAddresses(true),
	}
	der, err := x509.CreateCertificate(rand.Reader, &x, &x, &secret.PublicKey, secret)
	if err != nil {
		return err
	}
	private, err := x509.MarshalPKCS8PrivateKey(secret)
	if err != nil {
		return err
	}
	for path, block := range map[string]*pem.Block{key: {Type: "PRIVATE KEY", Bytes: private}, certificate: {Type: "CERTIFICATE", Bytes: der}} {
		f, err := newFile(path)
		if err != nil {
			return err
		}
		if err := errors.Join(pem.Encode(f, block), f.Close()); err != nil {
			return err
		}
	}
	return nil
}

// ownAddresses are the IP addresses of this device, those that a private network gives
// (RFC 1918) first.
func ownAddresses(loopback bool) (list []net.IP) {
	all, _ := net.InterfaceAddrs() // without them there are the names
	var others []net.IP
	for _, a := range all {
		n, ok := a.(*net.IPNet)
		if !ok || n.IP.IsLinkLocalUnicast() || n.IP.IsLoopback() && !loopback {
			continue
		}
		if n.IP.IsPrivate() && n.IP.To4() != nil {
			list = append(list, n.IP)
		} else {
			others = append(others, n.IP)
		}
	}
	return append(list, others...)
}

// Fingerprint is that of a configuration's certificate as browsers show it, SHA-256; "" for
// none.
func Fingerprint(c *tls.Config) string {
	if c == nil || len(c.Certificates) == 0 {
		return ""
	}
	sum := sha256.Sum256(c.Certificates[0].Certificate[0])
	var parts []string
	for _, b := range sum {
		parts = append(parts, fmt.Sprintf("%02X", b))
	}
	return strings.Join(parts, ":")
}

// Reach is where the page of an agent is.
type Reach struct {
	// Addresses are URLs of the page: those that other machines may reach, else that of
	// this device.
	Addresses []string `json:"addresses"`
	// Fingerprint is that of the certificate that the agent made itself, SHA-256; "" where
	// there is none.
	Fingerprint string `json:"fingerprint"`
	Reachable   bool   `json:"reachable"` // from other machines
	TLS         bool   `json:"tls"`       // with these
}

// ReachOf is where the page is that listeners serve, see Serve.
func ReachOf(ls []net.Listener, webConfig string, own *tls.Config) Reach {
	at := Reach{Fingerprint: Fingerprint(own), TLS: own != nil || webConfigHasTLS(webConfig)}
	scheme := "http"
	if at.TLS {
		scheme = "https"
	}
	local := DefaultURL
	for _, l := range ls {
		tcp, ok := l.Addr().(*net.TCPAddr)
		if !ok {
			continue
		}
		addresses := []net.IP{tcp.IP}
		if tcp.IP.IsUnspecified() {
			addresses = ownAddresses(false)
		}
		for _, ip := range addresses {
			if ip.IsLoopback() {
				local = fmt.Sprintf("http://%s", net.JoinHostPort(ip.String(), fmt.Sprint(tcp.Port)))
				continue
			}
			at.Addresses = append(at.Addresses, fmt.Sprintf("%s://%s", scheme, net.JoinHostPort(ip.String(), fmt.Sprint(tcp.Port))))
		}
	}
	if at.Reachable = len(at.Addresses) > 0; !at.Reachable {
		at.Addresses = []string{local}
	}
	return at
}
