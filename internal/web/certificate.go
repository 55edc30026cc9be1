package web

import (
	"crypto/tls"
	"fmt"
)

// ReadCertificate reads what a server needs to serve over TLS from two PEM
// files. It is done before anything listens, so that a file that is missing, or
// a key of another certificate, is told at the start.
func ReadCertificate(certificateFile, keyFile string) (*tls.Certificate, error) {
	pair, err := tls.LoadX509KeyPair(certificateFile, keyFile)
	if err != nil {
		return nil, fmt.Errorf("read the TLS certificate %s and its key %s: %w; "+
			"tls_certificate and tls_key of the [web] section name PEM files that belong together", certificateFile, keyFile, err)
	}
	return &pair, nil
}
